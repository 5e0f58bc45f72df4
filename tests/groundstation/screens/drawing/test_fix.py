from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.screens.drawing.fix import fix_quality, fix_trouble
from groundstation.screens.drawing.level import BARS, banner
from groundstation.screens.drawing.text import as_text, cells
from groundstation.vehicle.snapshot import Level, Reading, Snapshot
from protocol import Value
from tests.groundstation.screens.desks import GOOD_FIX, NOW_S, STANDARD, readings, running


def car(age_s: float = 0.0, *, stale: bool = False, **changes: Value) -> Snapshot:
    """Return a running car with a fix of some age; changes replace single channels of it."""
    fix = readings(NOW_S - age_s, stale=stale, **(GOOD_FIX | changes))
    return running(channels={**readings(**STANDARD), **fix})


def test_a_good_fix_is_no_trouble_and_says_how_good_it_is() -> None:
    assert fix_trouble(car()) == ""
    assert fix_quality(car()) == "3D fix, 14 satellites, accuracy 1.2 m"


@pytest.mark.parametrize(
    "lost",
    [
        {"fix_type": 0},
        {"fix_type": 1},
        {"latitude_deg": None, "longitude_deg": None},
        {"longitude_deg": None, "fix_type": None},
    ],
)
def test_no_position_is_no_fix(lost: dict[str, Value]) -> None:
    assert fix_trouble(car(**lost)) == "NO FIX"
    assert fix_quality(car(**lost)) == ""


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        (2, "2D fix"),
        (3, "3D fix"),
        (4, "differential fix"),
        (5, "carrier phase fix"),
        (None, "fix"),
    ],
)
def test_every_kind_of_position_has_its_word(kind: int | None, said: str) -> None:
    assert fix_quality(car(fix_type=kind, satellites=None, horizontal_accuracy_m=None)) == said


def test_a_fix_too_poor_for_distances_says_how_poor() -> None:
    # 25 m: where groundstation.vehicle.place begins to pass fixes over.
    assert fix_trouble(car(horizontal_accuracy_m=25.0)) == ""
    assert fix_trouble(car(horizontal_accuracy_m=40.2)) == "POOR FIX, 40 m"


def test_an_old_fix_says_its_age_but_not_where_the_whole_link_is_silent() -> None:
    old = car(3.2, stale=True)
    assert fix_trouble(old) == "FIX 3.2 s ago"
    assert fix_quality(old) == ""
    assert fix_trouble(replace(old, telemetry=replace(old.telemetry, age_s=3.2))) == ""


def test_a_car_that_sends_no_fix_has_none_to_lose() -> None:
    for snapshot in (Snapshot(), running(), running(channels={})):
        assert fix_trouble(snapshot) == fix_quality(snapshot) == ""


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("level", [Level.CLEAR, Level.THIN, None])
def test_a_calm_banner_says_that_there_is_no_fix(level: Level | None, width: int) -> None:
    snapshot = replace(car(fix_type=0), level=level)
    row = banner(snapshot, width, range_check="no range check today")
    assert cells(row) == width
    assert " NO FIX " in as_text([row])


def test_a_long_reason_makes_way_for_a_missing_fix_and_the_check_for_both() -> None:
    snapshot = replace(car(fix_type=0), level=Level.THIN, level_reason="stop margin " + "x" * 90)
    text = as_text([banner(snapshot, 80, range_check="no range check today")])
    assert text.endswith("…  NO FIX ")
    assert "range check" not in text


@pytest.mark.parametrize("level", [Level.LIFT, Level.LOST])
def test_a_level_that_asks_for_action_has_the_row_to_itself(level: Level) -> None:
    row = banner(replace(car(fix_type=0), level=level), 80)
    assert {ink for _, ink in row} == {BARS[level]}
    assert "FIX" not in as_text([row])


def test_readings_of_other_kinds_are_left_alone() -> None:
    channels = {"latitude_deg": Reading("north", NOW_S, NOW_S, False)}
    assert fix_trouble(running(channels=channels)) == "NO FIX"
