"""Peaks held for the eye, and clipped ones."""

from __future__ import annotations

import pytest

from groundstation.vehicle.peaks import HELD_S, Peaks, is_clipped


@pytest.mark.parametrize(
    ("values", "full_scale_g", "clipped"),
    [
        ({"accel_z_max_g": 15.9}, 16.0, False),
        # Full scale less half a percent (common practice, no source).
        ({"accel_z_max_g": 15.92}, 16.0, True),
        ({"accel_z_min_g": -16.0}, 16.0, True),
        ({"accel_z_max_g": 16.0}, None, False),
        ({"accel_z_max_g": 4.0, "clipped_samples": 3}, 16.0, True),
        ({"accel_z_max_g": 4.0, "clipped_samples": None}, 16.0, False),
        ({"sensor_clipped": True}, None, True),
        ({}, 16.0, False),
    ],
)
def test_clipping(values: dict[str, float], full_scale_g: float | None, clipped: bool) -> None:
    assert is_clipped(values, full_scale_g) is clipped


def test_peaks_are_held_and_then_let_go() -> None:
    peaks = Peaks()
    peaks.take({"accel_z_max_g": 9.0, "accel_z_min_g": -3.0, "accel_y_g": -1.5}, clipped=True)
    peaks.take({"accel_z_g": 1.0, "accel_y_g": 0.5, "yaw_rate_dps": -40.0}, clipped=False)
    peaks.tick(1.0)
    held = peaks.held()
    assert (held.accel_z_max_g, held.accel_z_min_g) == (9.0, -3.0)
    assert (held.accel_y_abs_g, held.yaw_rate_abs_dps, held.clipped) == (1.5, 40.0, True)
    peaks.tick(1.0 + HELD_S)
    assert peaks.held().clipped
    peaks.tick(1.1 + HELD_S)
    assert peaks.held().accel_z_max_g is None
    assert not peaks.held().clipped


def test_a_frame_without_held_peaks_still_gives_its_own_value() -> None:
    peaks = Peaks()
    peaks.take({"accel_z_g": 2.5, "accel_z_max_g": None}, clipped=False)
    peaks.tick(0.0)
    assert peaks.held().accel_z_max_g == 2.5
