"""The simulated range check: what the car says while it is switched off, carried and turned."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from groundstation.simulator.carrying import BOB_G, carried_samples_g, sway_radps
from groundstation.simulator.command import REST, Command
from groundstation.simulator.control_receiver import ControlReceiver, ControlReceiverParameters
from groundstation.simulator.drive import Drive, DriveParameters, PackParameters
from groundstation.simulator.scenarios import CHECK_HOLD_S, CHECK_MARKS_M
from groundstation.simulator.truth import Truths
from protocol import Value
from tests.groundstation.simulator.runs import heard, truths


def truth(name: str = "range_check", seed: int = 1) -> Truths:
    return truths(name, seed)


def samples(name: str, kind: str, field: str) -> list[tuple[float, Value]]:
    found = [sample for sample in heard(name, 1) if sample.kind.name == kind]
    return [(sample.at_s or 0.0, sample.values[field]) for sample in found]


def between(name: str, kind: str, field: str, span: tuple[float, float]) -> list[Value]:
    return [value for at_s, value in samples(name, kind, field) if span[0] <= at_s < span[1]]


def span_of(run: Truths, doing: str) -> tuple[float, float]:
    rows = np.flatnonzero(run.doing == doing)
    return float(run.t_s[rows[0]]), float(run.t_s[rows[-1]])


def test_the_plan_does_not_hang_on_luck() -> None:
    first, other = truth(seed=1), truth(seed=2)
    assert list(first.doing) == list(other.doing)
    assert np.array_equal(first.position_m, other.position_m)


def test_the_control_link_falls_silent_while_the_transmitter_is_off() -> None:
    began_s, ended_s = span_of(truth(), "transmitter off")
    assert ended_s - began_s == pytest.approx(3.0, abs=0.05)
    silent = (began_s + 0.8, ended_s)
    assert set(between("range_check", "radio", "control_rssi_dbm", silent)) == {None}
    assert set(between("range_check", "radio", "control_received_percent", silent)) == {0}
    assert set(between("range_check", "motion", "failsafe_active", silent)) == {True}
    throttles = between("range_check", "motion", "throttle_percent", silent)
    assert all(isinstance(each, int | float) and each <= 0.0 for each in throttles)
    after = (ended_s + 0.5, ended_s + 4.0)
    assert set(between("range_check", "motion", "failsafe_active", after)) == {False}
    assert None not in between("range_check", "radio", "control_rssi_dbm", after)


def test_the_wheels_turn_free_before_it_is_switched_off() -> None:
    began_s, ended_s = span_of(truth(), "giving throttle, wheels free")
    spun = (began_s + 1.0, ended_s)
    throttles = np.array(between("range_check", "motion", "throttle_percent", spun), dtype=float)
    assert throttles == pytest.approx(6.0)
    assert min(float(v or 0.0) for v in between("range_check", "motion", "speed_mps", spun)) > 2.0
    stood = truth().t_s < ended_s
    assert np.ptp(truth().position_m[stood]) == 0.0


@pytest.mark.parametrize("mark_m", CHECK_MARKS_M)
def test_it_stands_still_at_every_mark_in_four_headings(mark_m: float) -> None:
    run = truth()
    there = (np.abs(run.distance_m - mark_m) < 0.1) & (run.doing == "turning the car on the spot")
    still = there & (run.yaw_rate_dps == 0.0) & (run.speed_mps == 0.0)
    for heading_deg in (0.0, 90.0, 180.0, 270.0):
        off_deg = (run.heading_deg[still] - heading_deg + 180.0) % 360.0 - 180.0
        assert (np.abs(off_deg) < 2.0).sum() >= CHECK_HOLD_S * 100


def test_gyro_and_accelerometer_feel_the_hands() -> None:
    run = truth()
    walked = run.doing == "carrying the car"
    assert run.speed_mps[walked].max() == pytest.approx(1.4)
    turned = np.abs(run.yaw_rate_dps[run.doing == "turning the car on the spot"])
    assert 50.0 < turned.max() < 80.0
    assert 2.0 < np.abs(run.yaw_rate_dps[walked]).max() < 20.0
    rows = np.flatnonzero(walked)
    carried = (float(run.t_s[rows[0]]) + 1.0, float(run.t_s[rows[0]]) + 4.0)
    bobbing = np.array(between("range_check", "motion", "accel_z_g", carried), dtype=float)
    resting = np.array(between("range_check", "motion", "accel_z_g", (1.0, 8.0)), dtype=float)
    assert bobbing.std() > 5.0 * resting.std()
    wheels = between("range_check", "motion", "speed_mps", carried)
    assert set(wheels) == {0.0}
    fixes = between("range_check", "fix", "ground_speed_mps", carried)
    assert 1.0 < float(np.mean(np.array(fixes, dtype=float))) < 1.8


def test_a_disturbed_aerial_is_weaker_and_has_a_deeper_null() -> None:
    sound, disturbed = truth(), truth("range_check_disturbed")
    still = (sound.doing == "turning the car on the spot") & (sound.speed_mps == 0.0)
    drop_db = sound.local_mean_margin_db[still] - disturbed.local_mean_margin_db[still]
    assert 6.0 < drop_db.mean() < 10.0
    at_10_m = still & (np.abs(sound.distance_m - CHECK_MARKS_M[0]) < 0.1)
    swings = [np.ptp(run.local_mean_margin_db[at_10_m]) for run in (sound, disturbed)]
    assert swings[1] > 3.0 * swings[0]


def test_a_failsafe_at_part_throttle_keeps_the_wheels_turning() -> None:
    name = "range_check_holds_throttle"
    _, ended_s = span_of(truth(name), "transmitter off")
    silent = (ended_s - 1.0, ended_s)
    throttles = np.array(between(name, "motion", "throttle_percent", silent), dtype=float)
    assert throttles == pytest.approx(10.0)
    assert min(float(v or 0.0) for v in between(name, "motion", "speed_mps", silent)) > 3.0
    assert np.ptp(truth(name).position_m[truth(name).t_s < 17.0]) == 0.0


def test_a_receiver_without_failsafe_says_nothing() -> None:
    assert True not in [
        value for _, value in samples("range_check_no_failsafe", "motion", "failsafe_active")
    ]


def test_a_late_recovery_comes_late() -> None:
    run = truth("range_check_recovers_late")
    _, on_s = span_of(run, "transmitter off")
    active = run.t_s[run.failsafe]
    assert float(active[-1]) - on_s == pytest.approx(12.0, abs=0.1)


def test_recovery_waits_for_time_and_packets() -> None:
    given = ControlReceiverParameters(interference_loss=0.0, recover_after_s=1.0)
    receiver, step_s = ControlReceiver(given, seed=1), given.packet_interval_s
    for packet in range(100):
        receiver.packet_due(packet * step_s, -200.0, REST)
    assert receiver.failsafe
    back = [100 + n for n in range(200)]
    for packet in back:
        receiver.packet_due(packet * step_s, -40.0, REST)
        if not receiver.failsafe:
            break
    assert (packet - back[0]) * step_s == pytest.approx(1.0, abs=2 * step_s)


def test_a_receiver_that_never_enters_failsafe_holds_its_last_command() -> None:
    receiver = ControlReceiver(ControlReceiverParameters(failsafe_after_s=inf), seed=1)
    held = Command(throttle=0.4)
    receiver.packet_due(0.0, -40.0, held)
    for packet in range(1, 1000):
        receiver.packet_due(packet * 0.007, -200.0, REST)
    assert (receiver.failsafe, receiver.command) == (False, held)


def test_wheels_that_are_held_up_run_up_and_stop_again() -> None:
    drive = Drive(DriveParameters(), PackParameters())
    for _ in range(200):
        drive.spin_freely(0.1, 0.01)
    assert drive.wheel_speed_mps == pytest.approx(0.1 * drive.pack_voltage_v / 0.47, rel=0.02)
    for _ in range(400):
        drive.spin_freely(-0.8, 0.01)
    assert (drive.wheel_speed_mps, drive.speed_mps) == (0.0, 0.0)


def test_nobody_bobs_who_stands() -> None:
    assert sway_radps(1.0, 0.0) == 0.0
    x_g, y_g, z_g = carried_samples_g(3.3, pace_mps=0.0, step_s=0.001, noise_g=[0.0, 0.1])
    assert (x_g, y_g, z_g) == ([0.0], [0.0], [1.0, 1.1])
    heights = [
        carried_samples_g(t / 100, pace_mps=1.4, step_s=0.001, noise_g=[0.0])[2][0]
        for t in range(100)
    ]
    assert max(heights) == pytest.approx(1.0 + BOB_G, abs=0.01)
