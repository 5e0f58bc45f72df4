"""The distance law of a walk, with what it does not know."""

from __future__ import annotations

from dataclasses import replace
from math import log10, sqrt
from random import Random
from statistics import fmean, pstdev

import numpy as np
import pytest

from groundstation.radio.estimate import LinkEstimate
from groundstation.radio.log_distance import fit_log_distance
from groundstation.rangecheck.fit import fit_holds, usable
from groundstation.rangecheck.record import Hold
from tests.groundstation.rangecheck.rig import law_dbm, made_holds


def rappaport() -> tuple[Hold, ...]:
    # T. S. Rappaport, Wireless Communications, example 4.9 (from memory): four levels.
    levels = {100.0: 0.0, 200.0: -20.0, 1000.0: -35.0, 3000.0: -70.0}
    return made_holds(lambda distance_m, _: levels[distance_m], marks_m=tuple(levels))


def test_rappaports_example() -> None:
    # n = 4.4 and sigma = 6.17 dB with the level at 100 m given. Ours is drawn towards the exponents
    # that are usual, but not farther than its own doubt.
    fit = fit_holds(rappaport())
    assert fit is not None
    free = fit_log_distance(
        np.array([100.0, 200.0, 1000.0, 3000.0]),
        np.array([0.0, -20.0, -35.0, -70.0]),
        reference_m=100.0,
    )
    given = fit_log_distance(
        np.array([100.0, 200.0, 1000.0, 3000.0]),
        np.array([0.0, -20.0, -35.0, -70.0]),
        reference_m=100.0,
        reference_level_dbm=0.0,
    )
    assert given.exponent == pytest.approx(4.4131, abs=5e-5)
    assert given.sigma_db == pytest.approx(6.157, abs=5e-4)
    sigma = sqrt(fit.prior.exponent_variance)
    assert abs(fit.prior.exponent - free.exponent) < 2.0 * sigma
    assert abs(fit.prior.exponent - given.exponent) < 2.0 * sigma


def test_a_law_without_scatter_is_found() -> None:
    fit = fit_holds(made_holds(marks_m=(5.0, 10.0, 20.0, 40.0, 80.0, 160.0)))
    assert fit is not None
    assert fit.prior.exponent == pytest.approx(3.5, abs=0.1)
    at_80_dbm = fit.prior.level_at_1m_dbm - 10.0 * fit.prior.exponent * log10(80.0)
    assert at_80_dbm == pytest.approx(law_dbm(80.0), abs=0.5)
    assert fit.prior.reach_m == 160.0
    assert fit.worst_depth_db == pytest.approx(0.0, abs=1e-9)


def test_the_worst_heading_counts_for_the_margin() -> None:
    even = fit_holds(made_holds())
    notched = fit_holds(made_holds(lambda d, h: law_dbm(d) - (8.0 if h == 180 else 0.0)))
    assert even is not None
    assert notched is not None
    assert notched.worst_heading_deg == 180
    assert notched.worst_depth_db == pytest.approx(6.0, abs=1e-6)
    lost = even.margin_p05_db(60.0, -100.0)[0] - notched.margin_p05_db(60.0, -100.0)[0]
    assert lost == pytest.approx(8.0, abs=0.3)


def test_a_missing_heading_does_not_tilt_the_marks() -> None:
    def notched_dbm(distance_m: float, heading_deg: float) -> float:
        return law_dbm(distance_m) - (9.0 if heading_deg == 180 else 0.0)

    whole = made_holds(notched_dbm)
    lacking = tuple(each for each in whole if (each.mark, each.heading_deg) != (3, 180))
    first, second = fit_holds(whole), fit_holds(lacking)
    assert first is not None
    assert second is not None
    assert second.prior.exponent == pytest.approx(first.prior.exponent, abs=0.02)


def test_the_prior_says_what_the_estimate_holds() -> None:
    """Started from the prior, the live estimate predicts the same, and is honest about more."""
    fit = fit_holds(made_holds())
    assert fit is not None
    live = LinkEstimate()
    live.begin(fit.prior, measures=False)
    live.move(40.0, 0.0)
    expected, variance = live.predict(40.0)
    held, held_variance = fit.estimate.predict(40.0)
    assert expected == pytest.approx(held, abs=1.0)
    assert variance > held_variance


def test_the_quantile_holds_what_it_promises() -> None:
    """5 % of simulated courses lie under it: log-normal shadows about a law of exponent 3.7."""
    under, errors = 0, list[float]()
    trials = 400
    for seed in range(trials):
        random = Random(seed)
        shadows_db = {mark: random.gauss(0.0, 2.5) for mark in (10.0, 20.0, 40.0, 80.0)}
        holds = made_holds(
            lambda d, h, random=random, shadows_db=shadows_db: (  # type: ignore[misc]
                -40.0 - 37.0 * log10(d / 10.0) + shadows_db[d] + random.gauss(0.0, 1.2)
            )
        )
        fit = fit_holds(holds)
        assert fit is not None
        mean, low = fit.margin_p05_db(160.0, -100.0)
        truth = 60.0 - 37.0 * log10(16.0) + random.gauss(0.0, 2.5)
        under += truth < low
        errors.append(truth - mean - fit.worst_depth_db)
    assert under <= 0.07 * trials
    assert pstdev(errors) < 5.0
    assert abs(fmean(errors)) < 1.5


def test_one_distance_is_no_law() -> None:
    assert fit_holds(made_holds(marks_m=(10.0,))) is None
    assert fit_holds(()) is None


def test_bounds_and_thin_holds_are_not_usable() -> None:
    good, *rest = made_holds()
    odd = [
        replace(rest[0], bounded=True),
        replace(rest[1], reports=3),
        replace(rest[2], level_dbm=None),
    ]
    assert usable([good, *odd], least_reports=10) == [good]
