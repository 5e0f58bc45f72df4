"""Recordings of real sensors and receivers, from the test data of packages; never copied here.

Cycling computer at 1 Hz: `bokeh-sampledata` (CC0). Inertial sensors: `scikit-kinematics` (BSD-3),
whose files are read where pip has put them, without importing it. GPX drive: the source
distribution of `gpxpy` (Apache-2.0), looked for in the folder that GROUNDSTATION_TEST_SDISTS names.
"""

from __future__ import annotations

import gzip
import os
import tarfile
from importlib.metadata import PackageNotFoundError, files
from itertools import pairwise
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray

from groundstation.importing.gpx import gpx_log
from protocol import standard_table
from protocol.batch import Batch
from tests.groundstation.importing.reading import channels_of, read_by_guess, recorded


def installed(package: str, name: str) -> Path:
    """Return a data file that a package has installed."""
    try:
        found = [
            Path(str(each.locate())) for each in files(package) or [] if str(each).endswith(name)
        ]
    except PackageNotFoundError:
        found = []
    if not found:
        pytest.skip(f"{package} is not installed")
    return found[0]


def geodesic_m(batch: Batch) -> float:
    latitude, longitude = batch.column("latitude_deg"), batch.column("longitude_deg")
    places = np.stack([latitude, longitude], 1).tolist()
    return sum(Geodesic.WGS84.Inverse(*one, *other)["s12"] for one, other in pairwise(places))


def accel_g(batch: Batch) -> NDArray[np.float64]:
    axes = [batch.column(f"accel_{axis}_g") for axis in "xyz"]
    return np.sqrt(np.sum(np.square(axes), axis=0))


def test_a_ride_of_73_minutes(tmp_path: Path) -> None:
    path = tmp_path / "ride.csv"
    path.write_bytes(gzip.decompress(installed("bokeh-sampledata", "cycling.csv.gz").read_bytes()))
    guess, log = read_by_guess(path)
    channels = channels_of(guess)
    assert channels["position_lat"] == ("latitude_deg", "semicircles", 1)
    assert channels["position_long"] == ("longitude_deg", "semicircles", 1)
    assert channels["speed"] == ("ground_speed_mps", "m/s", 1)
    assert channels["distance"] == ("distance", "", 1)
    assert channels["column 1"][0] is None
    assert not guess.fixes_repeat
    batch = recorded(log)
    fix = batch.times("fix")
    steps_s = np.diff(fix.at_s)
    assert len(fix.at_s) == 4391
    assert np.count_nonzero(steps_s == 0) == 63
    np.testing.assert_allclose(fix.vehicle_s, fix.at_s, atol=1e-6)
    assert batch.missed == {1: 0}
    assert batch.reboots == {1: 0}
    # Positions are rounded to 1e-7 degrees, 11 mm, a step: 4390 steps to either side.
    assert geodesic_m(batch) == pytest.approx(37_170.50, abs=0.5)
    distance = batch.column("distance")
    assert distance[-1] - distance[0] == pytest.approx(37_148.88, abs=0.005)
    speed = batch.column("ground_speed_mps")
    assert np.nanmax(speed) == pytest.approx(15.009, abs=0.005)
    between_mps = (speed[1:] + speed[:-1]) / 2
    assert np.sum(between_mps * steps_s) == pytest.approx(37_146.88, abs=4.0)


def test_an_inertial_sensor_in_metres_and_radians() -> None:
    guess, log = read_by_guess(installed("scikit-kinematics", "data/data_xsens.txt"))
    channels = channels_of(guess)
    assert channels["Acc_X"] == ("accel_x_g", "m/s^2", 1)
    assert channels["Gyr_Z"] == ("yaw_rate_dps", "rad/s", 1)
    assert guess.time.column.rate_hz == 50
    assert any("stands otherwise" in note for note in guess.notes)
    batch = recorded(log)
    assert len(batch.times("motion").at_s) == 953
    np.testing.assert_allclose(np.diff(batch.times("motion").vehicle_s), 0.02, atol=2e-6)
    # At rest, in its first half second; the sensor's own scale is off by two percent.
    assert np.median(accel_g(batch)[:25]) == pytest.approx(1.0, abs=0.02)
    raw = np.genfromtxt(
        installed("scikit-kinematics", "data/data_xsens.txt"), skip_header=5, usecols=(1, 6)
    )
    np.testing.assert_allclose(batch.column("accel_x_g") * 9.80665, raw[:, 0], atol=0.0051)
    np.testing.assert_allclose(
        np.radians(batch.column("yaw_rate_dps")), raw[:, 1], atol=np.radians(0.051)
    )


@pytest.mark.parametrize(
    ("name", "rows", "rate_hz"),
    [("data_ngimu/sensors.csv", 499, 49.4), ("data_xio3/Inertial.csv", 500, 49.9)],
)
def test_inertial_sensors_in_g_and_degrees(name: str, rows: int, rate_hz: float) -> None:
    guess, log = read_by_guess(installed("scikit-kinematics", name))
    channels = channels_of(guess)
    assert channels["Accelerometer Z (g)"] == ("accel_z_g", "g", 1)
    assert channels["Gyroscope Z (deg/s)"] == ("yaw_rate_dps", "deg/s", 1)
    batch = recorded(log)
    motion = batch.times("motion")
    assert len(motion.at_s) == rows
    assert (rows - 1) / motion.at_s[-1] == pytest.approx(rate_hz, rel=0.02)
    quiet = np.abs(batch.column("yaw_rate_dps")) < 5
    assert np.median(accel_g(batch)[quiet]) == pytest.approx(1.0, abs=0.01)


def test_signal_strengths_keep_their_own_rate() -> None:
    _, log = read_by_guess(installed("scikit-kinematics", "data_ngimu/rssi.csv"))
    batch = recorded(log)
    power = batch.column("power_dbm")
    assert len(power) == 20
    assert (power.min(), power.max()) == (-50, -37)


def test_a_drive_in_gpx(tmp_path: Path) -> None:
    folder = os.environ.get("GROUNDSTATION_TEST_SDISTS")
    archives = sorted(Path(folder).glob("gpxpy-*.tar.gz")) if folder else []
    if not archives:
        pytest.skip("GROUNDSTATION_TEST_SDISTS names no folder with gpxpy's source distribution")
    with tarfile.open(archives[-1]) as archive:
        member = next(n for n in archive.getnames() if n.endswith("around-visnjan-with-car.gpx"))
        content = archive.extractfile(member)
        assert content is not None
        path = tmp_path / "drive.gpx"
        path.write_bytes(content.read())
    log = gpx_log(path, standard_table())
    batch = recorded(log)
    assert len(batch.times("fix").at_s) == 104
    assert log.end_at_s == 514.0
    assert geodesic_m(batch) == pytest.approx(2736.0, abs=0.1)
    theirs = gpxpy.parse(path.read_text()).tracks[0].segments[0].points
    assert log.started == theirs[0].time
    np.testing.assert_allclose(
        batch.column("latitude_deg"), [point.latitude for point in theirs], atol=6e-8
    )
    np.testing.assert_allclose(
        batch.column("altitude_m"), [point.elevation for point in theirs], atol=1e-6
    )
