"""What is said of the levels themselves: their source, their exponent, the weakest heading."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.rangecheck.finding import Outcome
from groundstation.rangecheck.fit import fit_holds
from groundstation.rangecheck.record import LevelKind
from groundstation.rangecheck.samples import level_source, weakest_heading
from tests.groundstation.rangecheck.rig import law_dbm, made_holds


def test_a_number_that_nobody_told_the_meaning_of_is_no_level() -> None:
    holds = [
        replace(hold, level_dbm=None, received_percent=None, kind=LevelKind.NONE)
        for hold in made_holds()
    ]
    finding = level_source(holds, [])
    assert finding.outcome is Outcome.MISSING
    assert "nobody told the meaning of" in finding.text
    assert "number_dbm" in finding.look_at


def test_the_weakest_heading_is_measured_against_the_others() -> None:
    def notched_dbm(distance_m: float, heading_deg: float) -> float:
        ripple_db = 0.3 * (round(distance_m) % 3 - 1)
        return law_dbm(distance_m) + ripple_db - (14.0 if heading_deg == 270 else 0.0)

    holds = made_holds(notched_dbm)
    fit = fit_holds(holds)
    assert fit is not None
    (finding,) = weakest_heading(holds, fit)
    assert finding.outcome is Outcome.NOTE
    assert finding.figures["null_db"] == pytest.approx(14.0, abs=0.01)
    # The best chance that 4 of 16 can have, times the four headings it is picked from.
    assert f"p {4 / 1820:.3f}" in finding.text
    assert finding.look_at


@pytest.mark.parametrize("headings_deg", [{0, 90}, {0}])
def test_among_two_headings_none_is_the_weakest(headings_deg: set[int]) -> None:
    holds = [hold for hold in made_holds() if hold.heading_deg in headings_deg]
    fit = fit_holds(holds)
    assert fit is not None
    assert weakest_heading(holds, fit) == []


def test_one_hold_at_the_weakest_heading_is_too_few() -> None:
    def notched_dbm(distance_m: float, heading_deg: float) -> float:
        return law_dbm(distance_m) - (9.0 if heading_deg == 270 else 0.0)

    holds = [hold for hold in made_holds(notched_dbm) if hold.heading_deg != 270 or hold.mark == 0]
    fit = fit_holds(holds)
    assert fit is not None
    assert fit.worst_heading_deg == 270
    assert weakest_heading(holds, fit) == []
