"""Speed over a distance."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.analysis.course import course_of, place_over_time
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Columns, Record
from groundstation.analysis.speed import PassSpeed, fix_delay_s, speeds_of
from groundstation.analysis.timed import fastest_over, speed_over, timed_between
from tests.groundstation.analysis.driven import record_from, there_and_stop, without


def _pass(record: Record) -> tuple[PassSpeed, Columns]:
    spans = find_passes(record)
    speed = speeds_of(record, spans)[0]
    assert speed is not None
    delay_s = fix_delay_s([speed])
    return speed, place_over_time(record, course_of(record, spans), spans[0], fix_delay_s=delay_s)


def test_error_of_a_timed_distance() -> None:
    """10 m known to 10 mm at 50 m/s, two edges of 1 ms: 0.714 %, 0.357 m/s (by hand)."""
    speed_mps, sigma_mps = speed_over(
        10.0, 0.2, distance_sigma_m=0.010, edge_sigmas_s=(0.001, 0.001)
    )
    assert speed_mps == pytest.approx(50.0)
    assert sigma_mps == pytest.approx(0.357, abs=0.0005)
    assert sigma_mps / speed_mps == pytest.approx(0.00714, abs=5e-6)


@pytest.mark.parametrize("fix_s", [0.04, 0.1, 0.2])
def test_crossings_lie_between_fixes(fix_s: float) -> None:
    """At 40 m/s and 5 fixes a second, 8 m lie between two fixes; the crossing is still met."""
    speed, place = _pass(record_from(there_and_stop, fix_s=fix_s, delay_s=0.12))
    # Place 0 is where the pass began, 4 m from rest; top speed is held from 100 m to 140 m.
    first_m = float(np.interp(speed.span.start_s, place.t_s, place["along_m"], left=0.0))
    run = timed_between(speed, place, first_m + 104.0, first_m + 129.0)
    assert run is not None
    assert run.forward is True
    assert run.distance_m == pytest.approx(25.0)
    assert run.speed_mps == pytest.approx(40.0, abs=0.25)
    assert run.sigma_mps < 0.2
    assert run.time_s == pytest.approx(25.0 / 40.0, abs=0.005)


def test_edges_may_be_given_in_either_order() -> None:
    speed, place = _pass(record_from(there_and_stop))
    assert timed_between(speed, place, 60.0, 30.0) == timed_between(speed, place, 30.0, 60.0)


def test_a_pass_back_is_not_forward() -> None:
    record = record_from(there_and_stop)
    speed, place = _pass(record)
    back = Columns(place.t_s, {**place.values, "along_m": 500.0 - place["along_m"]})
    there = timed_between(speed, place, 100.0, 130.0)
    again = timed_between(speed, back, 370.0, 400.0)
    assert there is not None
    assert again is not None
    assert again.forward is False
    assert again.time_s == pytest.approx(there.time_s, abs=1e-6)


def test_a_distance_known_badly_is_said_so() -> None:
    speed, place = _pass(record_from(there_and_stop))
    run = timed_between(speed, place, 100.0, 130.0, distance_sigma_m=0.6)
    assert run is not None
    assert run.sigma_mps == pytest.approx(0.02 * run.speed_mps, rel=0.05)


def test_places_that_were_not_crossed() -> None:
    speed, place = _pass(record_from(there_and_stop))
    assert timed_between(speed, place, 100.0, 5000.0) is None
    assert timed_between(speed, place, -50.0, 100.0) is None
    assert timed_between(speed, place, 100.0, 100.0) is None


def test_fastest_metres_of_a_known_curve() -> None:
    """A peak without a plateau: 20 m take least time about it, by hand from v^2 = v0^2 + 2 a s."""
    record = record_from(lambda t_s: there_and_stop(t_s, hold_s=0.0), noise=0.2)
    speed, place = _pass(record)
    run = fastest_over(speed, 20.0, place=place)
    assert run is not None
    # Ten metres up to 40 m/s and ten down, both at 8 m/s^2.
    edge_mps = np.sqrt(40.0**2 - 2.0 * 8.0 * 10.0)
    assert run.time_s == pytest.approx(2.0 * (40.0 - edge_mps) / 8.0, abs=0.004)
    assert run.start_s < 8.0 < run.end_s
    assert run.forward is True
    assert fastest_over(speed, 20.0) is not None
    assert fastest_over(speed, 5000.0) is None
    assert fastest_over(speed, 0.0) is None


def test_without_fixes_places_count_from_where_the_pass_began() -> None:
    speed, place = _pass(without(record_from(there_and_stop), "fix"))
    run = timed_between(speed, place, 100.0, 120.0)
    assert run is not None
    assert run.forward is None
    assert run.speed_mps == pytest.approx(40.0, abs=4.0 * run.sigma_mps)
    assert run.sigma_mps > 0.2
