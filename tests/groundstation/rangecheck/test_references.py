"""Which earlier checks a check may be compared with."""

from __future__ import annotations

from dataclasses import replace

from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Bound, CheckRecord
from groundstation.rangecheck.references import MOST_EARLIER, references
from tests.groundstation.rangecheck.rig import made_holds, made_record

OURS = Bound(vehicle_name="invented")
RECORD = made_record(made_holds())


def count(*earlier: CheckRecord, bound: Bound = OURS) -> int:
    return len(references(earlier, bound, least_reports=10))


def test_only_checks_of_this_vehicle_count() -> None:
    other = replace(RECORD, bound=Bound(vehicle_name="another"))
    assert count(RECORD, other, RECORD) == 2


def test_a_check_whose_aerials_were_in_question_does_not() -> None:
    doubted = Finding(rule=Rule.LEVEL, outcome=Outcome.HOLD, text="level down")
    assert count(replace(RECORD, findings=(doubted,)), RECORD) == 1


def test_the_newest_ten_count() -> None:
    assert count(*[RECORD] * (MOST_EARLIER + 5)) == MOST_EARLIER


def test_a_car_that_was_changed_for_good_starts_anew() -> None:
    changed = replace(RECORD, bound=replace(OURS, starts_anew=True))
    assert count(RECORD, RECORD, bound=changed.bound) == 0
    assert count(RECORD, RECORD, changed) == 1
    assert count(RECORD, RECORD, changed, RECORD) == 2
    of_another = replace(changed, bound=Bound(vehicle_name="another", starts_anew=True))
    assert count(RECORD, of_another) == 1
