"""When a check no longer holds."""

from __future__ import annotations

from datetime import timedelta

import pytest

from groundstation.rangecheck.record import Bound
from groundstation.rangecheck.staleness import setup_hash, stale_reasons
from tests.groundstation.rangecheck.rig import CHECKED, made_holds, made_record

SHEET = {"track_mm": 210, "ballast": {"front_g": 40}, "tyres": ["foam", "foam"]}
RECORD = made_record(
    made_holds(),
    bound=Bound(
        vehicle_name="invented", setup_hash=setup_hash(SHEET), pack="A", pack_voltage_v=12.4
    ),
)
SOON = CHECKED + timedelta(hours=1)


def test_a_check_of_the_hour_holds() -> None:
    assert (
        stale_reasons(
            RECORD,
            now=SOON,
            setup_hash=setup_hash(SHEET),
            pack="A",
            pack_voltage_v=12.2,
            vehicle_name="invented",
        )
        == ()
    )


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"now": CHECKED + timedelta(hours=13)}, "13 h old"),
        ({"now": CHECKED - timedelta(minutes=5)}, "dated later than now"),
        ({"pack": "B"}, "A then, B now"),
        ({"pack_voltage_v": 13.0}, "12.4 V then, 13.0 V now"),
        ({"setup_hash": setup_hash({**SHEET, "track_mm": 220})}, "set-up sheet"),
        ({"vehicle_name": "other"}, "another vehicle"),
    ],
)
def test_each_change_is_a_reason_of_its_own(changes: dict[str, object], words: str) -> None:
    given: dict[str, object] = {"now": SOON, **changes}
    (reason,) = stale_reasons(RECORD, **given)  # type: ignore[arg-type]
    assert words in reason


def test_what_is_not_known_is_no_reason() -> None:
    assert stale_reasons(made_record(made_holds()), now=SOON, pack="B", pack_voltage_v=15.0) == ()


def test_the_order_of_a_sheet_does_not_matter() -> None:
    assert setup_hash(dict(reversed(SHEET.items()))) == setup_hash(SHEET)
    assert setup_hash(SHEET) != setup_hash({**SHEET, "tyres": ["foam", "rubber"]})
    assert setup_hash({}) == ""
