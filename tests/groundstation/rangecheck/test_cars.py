"""Checks of simulated cars: the channel's reports, by frames through the core and without."""

from __future__ import annotations

from dataclasses import replace
from statistics import fmean

import pytest

from groundstation.inbound import BytesReceived
from groundstation.rangecheck.check import RangeCheck
from groundstation.rangecheck.record import Hold
from protocol import Sender
from tests.benchmarks._rangecheck_cars import DayToDay, Disturbance, holds, invent_car, reports
from tests.benchmarks.rangecheck import run

REPORT_S = 0.04


def by_frames(number: int, disturbance: Disturbance) -> tuple[Hold, ...]:
    """Return the holds that the core makes of the same reports, sent as frames."""
    check, sender, t_s = RangeCheck(), Sender(), 0.0

    def send(kind: str, values: dict) -> None:  # type: ignore[type-arg]
        check.handle(BytesReceived(t_s, sender.encode(kind, values, round(t_s * 1e6))))

    def stand(seconds: float, yaw_dps: float = 0.0) -> None:
        nonlocal t_s
        for _ in range(round(seconds / 0.01)):
            t_s += 0.01
            send("motion", {"yaw_rate_dps": yaw_dps, "speed_mps": 0.0})

    stand(6.0)
    for distance_m, heading_deg, held in reports(invent_car(number), 0, disturbance, DayToDay()):
        if heading_deg == 0:
            check.mark_typed(distance_m)
        else:
            stand(1.25, yaw_dps=72.0)
        while not check.view().instruction.endswith("s more"):
            stand(0.01)
        for values in held:
            send("radio", dict(values))
            stand(REPORT_S)
        stand(0.1)
    return check.view().walk.holds


def test_frames_through_the_core_give_the_same_holds() -> None:
    disturbance = Disturbance(level_db=6.0, side_db=5.0)
    expected = holds(invent_car(3), 0, disturbance)
    got = by_frames(3, disturbance)
    assert len(got) == len(expected) == 16
    for core, fast in zip(got, expected, strict=True):
        assert replace(core, received_percent=None) == replace(fast, received_percent=None)
        assert core.received_percent == pytest.approx(fast.received_percent)


def test_disturbed_cars_are_held_and_good_ones_are_not() -> None:
    rows = run(12, first=900)["rows"]
    share = {(row["case"], row["earlier"]): row for row in rows}
    assert share["undisturbed", 3]["held"] <= 1 / 12
    assert share["9 dB everywhere", 3]["held_for_level"] == 1.0
    assert share["one side 9 dB", 3]["held_for_level"] >= 11 / 12
    for length in (1, 3, 5):
        assert -10.5 < share["9 dB everywhere", length]["mean_shift_db"] < -7.5


def test_a_disturbance_lowers_the_level_by_what_it_says() -> None:
    car = invent_car(5)
    good, bad = (
        fmean(hold.level_dbm or 0.0 for hold in holds(car, 0, disturbance))
        for disturbance in (Disturbance(), Disturbance(level_db=6.0))
    )
    assert abs(good - bad - 6.0) < 0.1
