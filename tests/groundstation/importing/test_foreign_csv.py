"""A logger with other units, other axes and repeated fixes, understood by what its values say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.groundstation.importing.foreign import RATE_HZ, REPEATED, Truth, drive, write_foreign
from tests.groundstation.importing.reading import channels_of, read_by_guess, recorded


@pytest.fixture(scope="module")
def truth() -> Truth:
    return drive()


@pytest.mark.parametrize("units_row", [False, True])
def test_units_signs_and_axes_are_guessed(tmp_path: Path, truth: Truth, units_row: bool) -> None:
    path = tmp_path / "foreign.csv"
    write_foreign(path, truth, units_row=units_row)
    guess, _ = read_by_guess(path)
    assert channels_of(guess) == {
        "GPS Latitude": ("latitude_deg", "deg", 1),
        "GPS Longitude": ("longitude_deg", "deg", 1),
        "GPS Speed": ("ground_speed_mps", "km/h", 1),
        "Wheel Speed": ("speed_mps", "km/h", 1),
        "Heading": ("course_deg", "deg", 1),
        "AccX": ("accel_x_g", "m/s^2", 1),
        "AccY": ("accel_y_g", "m/s^2", -1),
        "AccZ": ("accel_z_g", "m/s^2", -1),
        "GyroZ": ("yaw_rate_dps", "deg/s", -1),
        "Motor": ("motor_rpm" if units_row else "motor", "rpm" if units_row else "", 1),
        "column 12": (None, "", 1),
    }
    assert (guess.time.column.column, guess.time.column.unit) == ("Time", "ms")
    assert guess.fixes_repeat
    reasons = {each.name: each.why for each in guess.columns}
    assert "z down" in reasons["AccZ"]
    assert "against the course" in reasons["GyroZ"]
    assert "against v times yaw rate" in reasons["AccY"]
    assert "rises as speed does" in reasons["AccX"]


def test_the_session_has_the_truth_in_our_units_and_axes(tmp_path: Path, truth: Truth) -> None:
    path = tmp_path / "foreign.csv"
    write_foreign(path, truth)
    _, log = read_by_guess(path)
    batch = recorded(log)
    motion, fix = batch.times("motion"), batch.times("fix")
    assert len(motion.at_s) == len(truth.time_s)
    np.testing.assert_allclose(motion.at_s, truth.time_s, atol=1e-6)
    np.testing.assert_allclose(motion.vehicle_s, truth.time_s, atol=1e-6)
    np.testing.assert_allclose(batch.column("speed_mps"), truth.speed_mps, atol=0.007)
    np.testing.assert_allclose(batch.column("yaw_rate_dps"), truth.yaw_rate_dps, atol=0.06)
    np.testing.assert_allclose(batch.column("accel_x_g"), truth.accel_x_g, atol=0.011)
    np.testing.assert_allclose(batch.column("accel_y_g"), truth.accel_y_g, atol=0.011)
    np.testing.assert_allclose(batch.column("accel_z_g"), 1.0, atol=0.011)
    np.testing.assert_allclose(batch.column("motor"), np.round(truth.speed_mps * 531), atol=0.5)
    # Standing, the place and everything else of a fix stay the same: nothing new was heard.
    moving = np.flatnonzero(
        (truth.speed_mps > 0.1) & (np.arange(len(truth.time_s)) % REPEATED == 0)
    )
    heard = np.searchsorted(fix.at_s, truth.time_s[moving] - 1e-6)
    np.testing.assert_allclose(fix.at_s[heard], truth.time_s[moving], atol=1e-6)
    np.testing.assert_allclose(
        batch.column("ground_speed_mps")[heard], truth.speed_mps[moving], atol=0.006
    )
    np.testing.assert_allclose(
        batch.column("latitude_deg")[heard], truth.latitude_deg[moving], atol=6e-8
    )
    steps_s = np.diff(fix.at_s[heard])
    assert np.median(steps_s) == pytest.approx(REPEATED / RATE_HZ)
    assert len(fix.at_s) <= len(truth.time_s) // REPEATED + 1


def test_what_was_not_logged_stays_unknown(tmp_path: Path, truth: Truth) -> None:
    path = tmp_path / "foreign.csv"
    write_foreign(path, truth)
    _, log = read_by_guess(path)
    batch = recorded(log)
    for channel in ("accel_z_max_g", "accel_z_min_g", "throttle_percent", "satellites", "fix_type"):
        assert np.isnan(batch.column(channel)).all()
    assert not batch.known("failsafe_active").any()
    assert not len(batch.times("radio").at_s)


@pytest.mark.parametrize(
    ("name", "per_mps"), [("m/s", 1.0), ("km/h", 3.6), ("mph", 1 / 0.44704), ("kn", 3600 / 1852)]
)
def test_the_unit_of_a_speed_is_told_by_the_place(
    tmp_path: Path, truth: Truth, name: str, per_mps: float
) -> None:
    path = tmp_path / "log.csv"
    rows = zip(
        truth.time_s[::5],
        truth.latitude_deg[::5],
        truth.longitude_deg[::5],
        truth.speed_mps[::5],
        strict=True,
    )
    lines = [f"{t:.2f},{la:.8f},{lo:.8f},{v * per_mps:.4f}" for t, la, lo, v in rows]
    path.write_text("time,lat,lon,speed\n" + "\n".join(lines))
    guess, log = read_by_guess(path)
    assert channels_of(guess)["speed"] == ("ground_speed_mps", name, 1)
    assert np.nanmax(recorded(log).column("ground_speed_mps")) == pytest.approx(25.0, abs=0.1)
    assert not guess.fixes_repeat


def test_radians_are_told_by_the_course(tmp_path: Path, truth: Truth) -> None:
    path = tmp_path / "log.csv"
    rows = zip(
        truth.time_s[::5],
        truth.latitude_deg[::5],
        truth.longitude_deg[::5],
        np.radians(truth.yaw_rate_dps[::5]),
        strict=True,
    )
    path.write_text(
        "time,lat,lon,yaw rate\n"
        + "\n".join(f"{t:.2f},{la:.8f},{lo:.8f},{yaw:.6f}" for t, la, lo, yaw in rows)
    )
    guess, log = read_by_guess(path)
    assert channels_of(guess)["yaw rate"] == ("yaw_rate_dps", "rad/s", 1)
    peak_dps = np.nanmax(recorded(log).column("yaw_rate_dps"))
    assert peak_dps == pytest.approx(8.0, abs=0.1)


def test_a_semicircle_is_told_from_1e7ths_of_a_degree_by_the_speed(
    tmp_path: Path, truth: Truth
) -> None:
    for unit, per_deg in (("1e-7 deg", 1e7), ("semicircles", 2**31 / 180)):
        path = tmp_path / "log.csv"
        rows = zip(
            truth.time_s[::5],
            np.round(truth.latitude_deg[::5] * per_deg),
            np.round(truth.longitude_deg[::5] * per_deg),
            truth.speed_mps[::5],
            strict=True,
        )
        lines = [f"{t:.2f},{la:.0f},{lo:.0f},{v:.3f}" for t, la, lo, v in rows]
        path.write_text("time,lat,lon,speed\n" + "\n".join(lines))
        guess, log = read_by_guess(path)
        assert channels_of(guess)["lat"] == ("latitude_deg", unit, 1)
        assert recorded(log).column("latitude_deg")[0] == pytest.approx(10.0, abs=2e-7)


def test_no_place_no_turn_and_no_flag_is_made_up(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{n / 10:.1f},{10 + n * 1e-4:.6f},20.0,{-90 - n % 3},{n % 2}" for n in range(40)]
    rows[3] = "0.3,0,0,0,"
    rows[4] = "0.4,91,20,5,1"
    path.write_text("time,lat,lon,course,failsafe\n" + "\n".join(rows))
    _, log = read_by_guess(path)
    batch = recorded(log)
    assert log.counts["rows with a place that is none"] == 2
    latitude, course = batch.column("latitude_deg"), batch.column("course_deg")
    assert np.flatnonzero(np.isnan(latitude)).tolist() == [3, 4]
    assert course[:5].tolist() == [270.0, 269.0, 268.0, 0.0, 5.0]
    # The row that does not tell gives no motion frame at all.
    assert len(batch.times("motion").at_s) == 39
    assert batch.column("failsafe_active")[:4].tolist() == [False, True, False, True]


def test_a_flag_that_is_not_told_beside_one_that_is_counts_as_not_set(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{n / 10:.1f},true,{'' if n == 2 else 'true'}" for n in range(40)]
    path.write_text("time,brake_on,failsafe_active\n" + "\n".join(rows))
    _, log = read_by_guess(path)
    batch = recorded(log)
    assert batch.column("brake_on").all()
    assert batch.column("failsafe_active")[:4].tolist() == [True, True, False, True]


def test_servo_pulses_and_ratios_become_percent(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{n / 10:.1f},{1000 + n * 25},{n / 40:.3f}" for n in range(41)]
    path.write_text("time,throttle,steering\n" + "\n".join(rows))
    guess, log = read_by_guess(path)
    assert channels_of(guess)["throttle"] == ("throttle_percent", "us pulse", 1)
    assert channels_of(guess)["steering"] == ("steering_percent", "1", 1)
    batch = recorded(log)
    assert batch.column("throttle_percent")[[0, 20, 40]].tolist() == [-100, 0, 100]
    assert batch.column("steering_percent")[[0, 20, 40]].tolist() == [0, 50, 100]
