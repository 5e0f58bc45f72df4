"""Columns of a recording: order, unknown values, what is told of the car."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.analysis.record import Columns, record_of
from groundstation.vehicle.profile import VehicleProfile
from protocol import Sender, Value
from protocol.batch import Batch, decode


def _batch(frames: list[tuple[str, dict[str, Value], int]], order: list[int]) -> Batch:
    sender = Sender()
    encoded = [sender.encode(kind, values, at_us) for kind, values, at_us in frames]
    return decode(b"".join(encoded[each] for each in order))


def _motion(speed_mps: float | None, at_us: int) -> tuple[str, dict[str, Value], int]:
    return "motion", {"speed_mps": speed_mps}, at_us


def test_late_frames_are_sorted_in_and_doubles_count_once() -> None:
    frames = [_motion(1.0, 10_000), _motion(2.0, 20_000), _motion(3.0, 30_000)]
    record = record_of(_batch(frames, [0, 2, 1, 2]), vehicle=1)
    assert record.motion.t_s.tolist() == pytest.approx([0.01, 0.02, 0.03])
    assert record.motion["speed_mps"].tolist() == [1.0, 2.0, 3.0]


def test_unknown_is_nan_and_a_flag_is_a_number() -> None:
    frames: list[tuple[str, dict[str, Value], int]] = [
        ("motion", {"speed_mps": None, "brake_on": True, "failsafe_active": False}, 10_000),
        ("motion", {"speed_mps": 4.0}, 20_000),
    ]
    record = record_of(_batch(frames, [0, 1]), vehicle=1)
    assert np.isnan(record.motion["speed_mps"]).tolist() == [True, False]
    assert record.motion["brake_on"][0] == 1.0
    assert record.motion["failsafe_active"][0] == 0.0
    assert np.isnan(record.motion["brake_on"][1])
    assert np.isnan(record.motion["no_such_channel"]).all()


def test_what_the_car_tells_and_what_the_profile_says() -> None:
    frames: list[tuple[str, dict[str, Value], int]] = [
        ("ident", {"vehicle_name": "first", "control_sensitivity_dbm": -100.0}, 10_000),
        ("ident", {"vehicle_name": "second", "control_sensitivity_dbm": None}, 20_000),
    ]
    batch = _batch(frames, [0, 1])
    record = record_of(batch, vehicle=1, driver=(1.0, 2.0))
    assert record.name == "second"
    assert record.told("control_sensitivity_dbm") == -100.0
    assert record.threshold_dbm == -100.0
    assert record.told("accel_full_scale_g") is None
    assert record.driver == (1.0, 2.0)
    profile = VehicleProfile(name="from the profile", threshold_dbm=-90.0)
    assert record_of(batch, vehicle=1, profile=profile).threshold_dbm == -90.0
    nameless = record_of(_batch([_motion(1.0, 10_000)], [0]), vehicle=1, profile=profile)
    assert nameless.name == "from the profile"


def test_ends_of_a_recording() -> None:
    frames = [_motion(1.0, 10_000), _motion(2.0, 90_000)]
    assert record_of(_batch(frames, [0, 1]), vehicle=1).ends_s() == pytest.approx((0.01, 0.09))
    assert record_of(decode(b""), vehicle=1).ends_s() is None


def test_between_takes_both_ends() -> None:
    columns = Columns(np.array([0.0, 1.0, 2.0, 3.0]), {"speed_mps": np.arange(4.0)})
    assert columns.between(1.0, 2.0)["speed_mps"].tolist() == [1.0, 2.0]
    assert len(columns.between(5.0, 9.0)) == 0
