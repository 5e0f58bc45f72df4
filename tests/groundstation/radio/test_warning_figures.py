"""The figures of the warnings benchmark, on drives made up by hand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from tests.benchmarks._warnings_figures import figures_of, median_of, ratio_of, swept
from tests.benchmarks._warnings_passes import SAFE_MARGIN_DB, Floats, Setting, run_pass


@dataclass(frozen=True)
class Judged:
    holds: bool
    values: dict[str, Floats]
    alarms: dict[str, Floats]
    given_up_m: Floats


def judged(*, holds: bool, values: list[float]) -> Judged:
    given_up_m = np.array([40.0, 20.0, -10.0]) if holds else np.full(3, np.nan)
    return Judged(holds, {"rule": np.array(values)}, {"rule": np.zeros(3)}, given_up_m)


def test_a_warning_counts_where_it_first_comes() -> None:
    passes = [
        judged(holds=True, values=[9.0, 4.0, 1.0]),
        judged(holds=True, values=[9.0, 8.0, 1.0]),
        judged(holds=False, values=[9.0, 9.0, 9.0]),
        judged(holds=False, values=[9.0, np.nan, 2.0]),
    ]
    found = figures_of("all", "rule", "rule", passes, 5.0)
    assert (found.in_time, found.false_lifts, found.given_up_m) == (0.5, 0.5, 5.0)


def test_a_median_and_its_interval() -> None:
    # Of 101 even steps; the interval from the ranks n/2 -+ 1.96 sqrt(n)/2, which are 41 and 60
    # (W. J. Conover, Practical Nonparametric Statistics, section 3.2, from memory).
    median, low, high = median_of([float(value) for value in range(101)])
    assert median == 50.0
    assert low == pytest.approx(40.0, abs=3.0)
    assert high == pytest.approx(60.0, abs=3.0)


def test_the_ratio_is_of_medians_each_at_its_own_threshold() -> None:
    early = {"rule": np.array([4.0, 9.0, 9.0]), "baseline": np.array([9.0, 4.0, 9.0])}
    given_up_m = np.array([40.0, 20.0, -10.0])
    passes = [Judged(True, early, dict.fromkeys(early, np.zeros(3)), given_up_m)] * 4
    # At 4.25 dB the rule warns at the first tick, the baseline at the second; both in time.
    assert ratio_of(passes, "rule", "baseline") == (2.0, 2.0, 2.0)


def test_the_sweep_finds_the_lowest_threshold_that_is_in_time() -> None:
    passes = [judged(holds=True, values=[9.0, 4.0, 1.0])]
    assert swept("all", "rule", passes).threshold_db == 4.25


@pytest.mark.parametrize("second_air", [False, True])
def test_a_pass_is_what_it_is_said_to_be(second_air: bool) -> None:
    found = []
    for holds in (True, False):
        runs = (
            run_pass(seed, Setting.CLEAN, second_air=second_air, holds=holds) for seed in range(9)
        )
        found.append(next(run for run in runs if run is not None))
    losing, safe = found
    assert losing.loss_m == pytest.approx(losing.along_m[-1])
    assert losing.margin_db(losing.along_m[-1]) < 0.0
    assert safe.loss_m is None
    assert safe.profile_db[: int(safe.along_m[-1])].min() >= SAFE_MARGIN_DB
    # The stop that is reckoned from the lift is the stop that came.
    lifted_s = float(safe.t_s[int(np.argmax(safe.speed_mps))])
    assert safe.stop_m(lifted_s, 0.0) == pytest.approx(safe.along_m[-1], abs=3.0)
