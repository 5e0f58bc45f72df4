"""What each scenario promises."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from groundstation.errors import UsageError
from groundstation.simulator.scenarios import SCENARIOS, scenario_named
from groundstation.simulator.simulation import Simulation, simulate_truth
from protocol import Receiver, SampleReceived, Value
from tests.groundstation.simulator.runs import heard, truths

SEEDS = (1, 2, 3)


def column(name: str, seed: int, kind: str, field: str) -> list[Value]:
    return [sample.values[field] for sample in heard(name, seed) if sample.kind.name == kind]


def numbers(name: str, seed: int, kind: str, field: str) -> np.ndarray:
    values = column(name, seed, kind, field)
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def test_names_and_sentences() -> None:
    for name, scenario in SCENARIOS.items():
        assert scenario.name == name
        assert scenario.summary.endswith(".")
        assert len(scenario.summary) < 100
        assert scenario_named(name) is scenario
        assert "invented" in scenario.car.name
    with pytest.raises(UsageError, match="range_edge"):
        scenario_named("range-edge")


CHECKS = {name for name in SCENARIOS if name.startswith("range_check")}


@pytest.mark.parametrize("name", sorted(SCENARIOS.keys() - {"demo"} - CHECKS))
def test_a_session_of_it_is_small(name: str) -> None:
    size = sum(len(emission.data) for emission in Simulation(SCENARIOS[name], seed=1))
    assert size < 600_000
    assert SCENARIOS[name].duration_s <= 100.0


@pytest.mark.parametrize("seed", SEEDS)
def test_opposite_passes(seed: int) -> None:
    run = truths("opposite_passes", seed)
    assert run.local_mean_margin_db.min() > 12.0
    assert run.failsafe_row is None
    assert not run.crashed.any()
    fast = run.speed_mps > 40.0
    ahead = np.cos(np.radians(run.heading_deg)) > 0.99
    back = np.cos(np.radians(run.heading_deg)) < -0.99
    assert 44.0 < run.speed_mps[fast & ahead].max() < 60.0
    assert 38.0 < run.speed_mps[back].max() < 60.0
    # It stands between the passes and at the end, and keeps to the line at speed.
    assert ((run.speed_mps == 0.0) & (run.t_s > 20.0) & (run.t_s < 40.0)).sum() > 300
    assert run.speed_mps[-1] == 0.0
    assert np.abs(run.across_m[fast]).max() < 3.0
    received = numbers("opposite_passes", seed, "radio", "control_received_percent")
    assert np.nanmin(received) > 90.0


@pytest.mark.parametrize("seed", SEEDS)
def test_range_edge(seed: int) -> None:
    run = truths("range_edge", seed)
    row = run.failsafe_row
    assert row is not None
    assert 450.0 < run.position_m[row] < 720.0
    assert run.speed_mps[row] > 45.0
    assert run.local_mean_margin_db[row] < 0.0
    # The car brakes by itself to a standstill. A few stray packets may still get through, with the
    # driver's throttle in them; within a second and a half that is over, and failsafe stays.
    assert run.throttle_percent[row] < 0.0
    assert (run.throttle_percent[row + 150 :] <= 0.0).all()
    assert run.speed_mps[-1] == 0.0
    assert run.failsafe[-1]
    assert max(numbers("range_edge", seed, "radio", "failsafe_count")) >= 1
    assert column("range_edge", seed, "motion", "failsafe_active")[-1] is True
    # Beyond the edge no level is reported, and before it packets went missing.
    assert column("range_edge", seed, "radio", "control_rssi_dbm")[-1] is None
    received = numbers("range_edge", seed, "radio", "control_received_percent")
    assert np.nanmin(received[:450]) < 60.0
    assert np.nanmax(received[-10:]) < 5.0


@pytest.mark.parametrize("seed", SEEDS)
def test_antenna_disturbed(seed: int) -> None:
    good, bad = truths("opposite_passes", seed), truths("antenna_disturbed", seed)
    stop = len(bad.t_s)
    drop_db = good.local_mean_margin_db[:stop].min() - bad.local_mean_margin_db.min()
    assert drop_db > 5.0
    assert not bad.failsafe.any()
    weak = numbers("antenna_disturbed", seed, "radio", "control_rssi_dbm")
    strong = numbers("opposite_passes", seed, "radio", "control_rssi_dbm")
    assert np.nanmedian(weak) < np.nanmedian(strong) - 5.0


@pytest.mark.parametrize("seed", SEEDS)
def test_oscillation_before_and_after(seed: int) -> None:
    before, after = truths("oscillation_before", seed), truths("oscillation_after", seed)
    fast_before, fast_after = before.speed_mps > 42.0, after.speed_mps > 42.0
    assert before.damping_ratio[fast_before].max() < 0.05
    assert after.damping_ratio[fast_after].min() > 0.25
    wild, calm = before.yaw_rate_dps[fast_before], after.yaw_rate_dps[fast_after]
    assert 20.0 < np.percentile(np.abs(wild), 95) < 80.0
    assert wild.std() > 2.0 * calm.std()
    assert not before.crashed.any()
    # The swing that is there has the frequency of the mode, 2 to 6 Hz.
    rates = wild[: len(wild) // 100 * 100] - wild.mean()
    spectrum = np.abs(np.fft.rfft(rates * np.hanning(len(rates))))
    frequency_hz = float(np.fft.rfftfreq(len(rates), 0.01)[spectrum.argmax()])
    assert 2.0 < frequency_hz < 6.0
    assert frequency_hz == pytest.approx(before.mode_frequency_hz[fast_before].mean(), rel=0.15)


def test_oscillation_scenarios_differ_in_one_number() -> None:
    before, after = SCENARIOS["oscillation_before"], SCENARIOS["oscillation_after"]
    stabiliser = replace(
        before.car.stabiliser,
        gain_percent_per_dps=after.car.stabiliser.gain_percent_per_dps,
    )
    same = replace(
        before,
        name=after.name,
        summary=after.summary,
        car=replace(before.car, stabiliser=stabiliser),
    )
    assert same == after
    assert before != after


@pytest.mark.parametrize("seed", range(1, 9))
def test_crash(seed: int) -> None:
    scenario = replace(SCENARIOS["crash"], duration_s=20.0)
    run = simulate_truth(scenario, seed)
    rows = np.flatnonzero(run.crashed)
    assert len(rows)
    crash_s = float(run.t_s[rows[0]])
    assert run.speed_mps[rows[0]] > 15.0
    # The yaw went first.
    calm = np.abs(run.yaw_rate_dps[(run.t_s > 2.0) & (run.t_s < 4.0)]).max()
    before = np.abs(run.yaw_rate_dps[rows[0] - 150 : rows[0]]).max()
    assert before > 15.0 > calm
    receiver, last_s, highest_g, yaw_dps, clipped = Receiver(), 0.0, 0.0, 0.0, 0
    for emission in Simulation(scenario, seed=seed):
        last_s = emission.at_s
        for event in receiver.receive_data(emission.data, emission.at_s):
            if isinstance(event, SampleReceived) and event.kind.name == "motion":
                values = {
                    key: float(value)
                    for key, value in event.values.items()
                    if isinstance(value, int | float)
                }
                if emission.at_s > crash_s + 0.05:
                    peak_g = max(abs(values["accel_z_max_g"]), abs(values["accel_z_min_g"]))
                    highest_g = max(highest_g, peak_g)
                    yaw_dps = max(yaw_dps, abs(values["yaw_rate_dps"]))
                    clipped += int(values["clipped_samples"])
    assert highest_g > 8.0
    assert yaw_dps > 200.0
    # And then silence, while the car still slides.
    assert crash_s + 0.5 < last_s < crash_s + 1.1


def test_crash_clips_the_accelerometer() -> None:
    clipped = numbers("crash", 3, "motion", "clipped_samples")
    assert clipped.max() > 0
    flags = column("crash", 3, "motion", "sensor_clipped")
    assert [bool(count) for count in clipped] == flags


def test_a_joint_gives_the_same_place_a_shock_on_every_pass() -> None:
    run, name = truths("oscillation_after", 1), "oscillation_after"
    motion = [sample for sample in heard(name, 1) if sample.kind.name == "motion"]
    places = np.interp([sample.at_s or 0.0 for sample in motion], run.t_s, run.position_m)
    peaks = numbers(name, 1, "motion", "accel_z_max_g")
    speeds = numbers(name, 1, "motion", "speed_mps")
    hits = places[(peaks > 6.0) & (speeds > 35.0)]
    again = simulate_truth(SCENARIOS["oscillation_before"], 1)
    other = [sample for sample in heard("oscillation_before", 1) if sample.kind.name == "motion"]
    other_places = np.interp([sample.at_s or 0.0 for sample in other], again.t_s, again.position_m)
    other_peaks = numbers("oscillation_before", 1, "motion", "accel_z_max_g")
    other_hits = other_places[other_peaks > 5.0]
    assert len(hits) >= 5
    for place in hits:
        assert np.abs(other_hits - place).min() < 2.5


def test_demo_moves_at_once_and_comes_near_the_edge() -> None:
    scenario = replace(SCENARIOS["demo"], duration_s=52.0)
    run = simulate_truth(scenario, 1)
    assert run.speed_mps[run.t_s < 3.0].max() > 5.0
    moving = run.speed_mps > 5.0
    assert 8.0 < run.local_mean_margin_db[moving].min() < 13.0
    starts = np.flatnonzero(np.diff((run.speed_mps > 20.0).astype(int)) == 1)
    assert len(starts) == 2
    assert not run.failsafe.any()
    assert SCENARIOS["demo"].duration_s >= 600.0


def test_demo_holds_for_ten_minutes() -> None:
    run = truths("demo", 2)
    assert not run.crashed.any()
    assert not run.failsafe.any()
    fast = run.speed_mps > 20.0
    assert np.abs(run.across_m[fast]).max() < 4.0
    last = run.t_s > 540.0
    assert run.speed_mps[last].max() > 35.0
    assert run.pack_voltage_v.min() > 26.0
