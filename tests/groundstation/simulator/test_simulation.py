"""What arrives: whole frames, in order, the same for the same seed."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace

import numpy as np
import pytest

from groundstation.errors import UsageError
from groundstation.simulator.downlink import TelemetryParameters
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Emission, Simulation, simulate_truth
from groundstation.simulator.truth import Truth, Truths
from protocol import FramesMissed, Receiver, SampleReceived, standard_table

SHORT = replace(SCENARIOS["opposite_passes"], duration_s=12.0)
LOSSLESS = replace(SHORT, telemetry=TelemetryParameters(loss=0.0, bursts_per_s=0.0))


def samples(scenario: Scenario, seed: int = 1) -> list[SampleReceived]:
    receiver = Receiver()
    events = [
        event
        for emission in Simulation(scenario, seed=seed)
        for event in receiver.receive_data(emission.data, emission.at_s)
    ]
    kept = [event for event in events if isinstance(event, SampleReceived)]
    assert len(kept) == len(events)
    return kept


def test_same_seed_same_bytes_other_seed_other_bytes() -> None:
    first, again, other = (list(Simulation(SHORT, seed=seed)) for seed in (1, 1, 2))
    assert first == again
    assert [each.data for each in first] != [each.data for each in other]


def test_a_negative_seed_is_a_wrong_usage() -> None:
    with pytest.raises(UsageError, match="from 0 up"):
        Simulation(SHORT, seed=-1)


def test_looking_and_drawing_slowly_change_nothing() -> None:
    slow: list[Emission] = []
    simulation = Simulation(SHORT, seed=1)
    for emission in simulation:
        slow.append(emission)
        assert simulation.truth.t_s <= 12.01
        simulation.channel.local_mean_dbm(100.0, 0.0, 0.0)
    assert slow == list(Simulation(SHORT, seed=1))


def test_a_longer_run_begins_as_the_shorter_one() -> None:
    short = list(Simulation(replace(SHORT, duration_s=3.0), seed=5))
    longer = list(Simulation(SHORT, seed=5))
    assert longer[: len(short)] == short


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_frame_decodes_and_every_loss_is_a_gap(name: str) -> None:
    scenario = replace(SCENARIOS[name], duration_s=min(SCENARIOS[name].duration_s, 20.0))
    receiver, counts, last_s, sent = Receiver(), Counter[str](), 0.0, 0
    for emission in Simulation(scenario, seed=7):
        assert emission.at_s >= last_s
        last_s = emission.at_s
        assert emission.data.count(0) == 1
        for event in receiver.receive_data(emission.data, emission.at_s):
            match event:
                case SampleReceived():
                    counts["received"] += 1
                    sent = event.sequence + 1
                case FramesMissed():
                    counts["lost"] += event.count
                case _:
                    pytest.fail(f"{event}")
    assert counts["received"] + counts["lost"] == sent
    assert counts["lost"] > 0


def test_kinds_come_at_their_rates_and_ident_comes_first() -> None:
    heard = samples(LOSSLESS)
    assert heard[0].kind.name == "ident"
    counts = Counter(sample.kind.name for sample in heard)
    assert counts == {
        "ident": 6,
        "motion": 1200,
        "radio": 300,
        "power": 24,
        "fix": pytest.approx(119, abs=1),
    }
    for kind in standard_table().kinds:
        low_hz, high_hz = kind.rate_hz
        assert low_hz * 0.98 <= counts[kind.name] / 12.0 <= high_hz


def test_every_field_is_within_its_range() -> None:
    never_sent = {"control_signal_raw"}
    for sample in samples(LOSSLESS):
        for name, value in sample.values.items():
            if name in never_sent:
                assert value is None
    motion = [sample.values for sample in samples(LOSSLESS) if sample.kind.name == "motion"]
    assert all(value is not None for values in motion for value in values.values())


def test_vehicle_clock_runs_at_nearly_the_ground_s_rate() -> None:
    motion = [sample for sample in samples(LOSSLESS) if sample.kind.name == "motion"]
    elapsed_s = motion[-1].vehicle_s - motion[0].vehicle_s
    error = LOSSLESS.sensors.clock_error
    assert elapsed_s == pytest.approx((len(motion) - 1) * 0.01 * (1 + error), abs=3e-6)
    delays = np.array([each.at_s - each.vehicle_s for each in motion if each.at_s is not None])
    assert delays.max() - delays.min() > 0.005


def test_sensors_tell_the_truth_with_small_errors() -> None:
    heard = samples(LOSSLESS)
    truths = simulate_truth(LOSSLESS, 1)
    motion = [sample.values for sample in heard if sample.kind.name == "motion"]
    rates = np.array([values["yaw_rate_dps"] for values in motion], dtype=float)
    assert np.std(rates - truths.yaw_rate_dps) < 0.4
    wheel = np.array([values["speed_mps"] for values in motion], dtype=float)
    coasting = np.abs(truths.accel_x_mps2) < 2.0
    assert np.abs(wheel - truths.speed_mps)[coasting].max() < 1.0
    forward = np.array([values["accel_x_g"] for values in motion], dtype=float)
    assert np.abs(forward - truths.accel_x_mps2 / 9.80665).mean() < 0.05
    # Speed is the integral of the forward force on a straight run.
    upto = int(np.argmax(truths.speed_mps))
    gained = truths.accel_x_mps2[:upto].sum() * 0.01
    assert gained == pytest.approx(truths.speed_mps[upto], rel=0.01)


def test_left_is_positive_everywhere() -> None:
    # ISO 8855: turning left, yaw rate and side acceleration are positive, and the course falls.
    scenario = replace(
        SCENARIOS["opposite_passes"],
        duration_s=40.0,
        telemetry=TelemetryParameters(loss=0.0, bursts_per_s=0.0),
    )
    truths = simulate_truth(scenario, 3)
    turning = truths.doing == "turning round"
    first, last = np.flatnonzero(turning)[[0, -1]]
    assert truths.heading_deg[last] - truths.heading_deg[first] == pytest.approx(180.0, abs=25.0)
    motion = [sample.values for sample in samples(scenario, 3) if sample.kind.name == "motion"]
    hard = [
        values
        for values, turns in zip(motion, turning.tolist(), strict=True)
        if turns and float(values["yaw_rate_dps"] or 0) > 30.0
    ]
    assert len(hard) > 100
    assert np.mean([float(values["accel_y_g"] or 0) for values in hard]) > 0.1
    # The stabiliser steers against the turn the driver asks for.
    assert np.mean([float(values["steering_percent"] or 0) for values in hard]) > 10.0
    assert np.mean([float(values["correction_percent"] or 0) for values in hard]) < -3.0


def test_told_to_lift_a_simulation_lifts() -> None:
    simulation = Simulation(SHORT, seed=1)
    speeds: list[float] = []
    for emission in simulation:
        if emission.at_s < 6.0:
            simulation.lift_at_s = 6.5
        speeds.append(simulation.truth.speed_mps)
    assert simulation.lift_at_s is None
    told = simulate_truth(SHORT, 1, lift_at_s=6.5)
    free = simulate_truth(SHORT, 1)
    assert max(speeds) == pytest.approx(told.speed_mps.max())
    assert told.speed_mps.max() < free.speed_mps.max() - 5.0
    same = told.t_s < 6.5
    assert (told.speed_mps[same] == free.speed_mps[same]).all()
    assert told.position_m.max() < free.position_m.max()


def test_truth_columns_are_the_states_met_on_the_way() -> None:
    scenario = replace(LOSSLESS, duration_s=7.0)
    simulation = Simulation(scenario, seed=4)
    *_, _ = simulation
    columns = simulate_truth(scenario, 4)
    last: Truth = simulation.truth
    assert [field.name for field in fields(Truths)] == [field.name for field in fields(Truth)]
    for field in fields(Truth):
        column = getattr(columns, field.name)
        assert len(column) == 700
        assert column[-1] == getattr(last, field.name)
    assert columns.failsafe_row is None


def test_a_builder_s_table_goes_on_the_wire() -> None:
    table = standard_table().extended(
        '[[kind]]\nname="tyre"\ncode=0x80\n[[kind.field]]\nname="tyre_c"\ntype="u8"\n'
        "min=0\nmax=200\nunknown=255\n",
        "test",
    )
    plain = list(Simulation(replace(SHORT, duration_s=1.0), seed=1))
    assert list(Simulation(replace(SHORT, duration_s=1.0), seed=1, table=table)) == plain
