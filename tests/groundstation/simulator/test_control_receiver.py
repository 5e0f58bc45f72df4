"""Packets, reports and failsafe."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.simulator.command import Command
from groundstation.simulator.control_receiver import (
    ControlReceiver,
    ControlReceiverParameters,
    LinkReport,
)

GAS = Command(throttle=1.0, steering_percent=5.0)
CLEAN = ControlReceiverParameters(interference_loss=0.0, report_noise_db=0.0)
STRONG_DBM, DEAD_DBM = -60.0, -130.0


class Link:
    """A receiver and a clock that sends it packets."""

    def __init__(self, parameters: ControlReceiverParameters = CLEAN) -> None:
        self.receiver = ControlReceiver(parameters, seed=1)
        self.now_s = 0.0

    def packets(self, count: int, power_dbm: float, command: Command = GAS) -> None:
        for _ in range(count):
            self.now_s += self.receiver.parameters.packet_interval_s
            self.receiver.packet_due(self.now_s, power_dbm, command)

    def report(self, after_s: float = 0.0) -> LinkReport:
        return self.receiver.report(self.now_s + after_s)


@pytest.mark.parametrize(
    ("power_dbm", "arrives"), [(-80.0, 1.0), (-100.0, 0.9), (-101.318, 0.5), (-130.0, 0.0)]
)
def test_packets_arrive_by_their_power(power_dbm: float, arrives: float) -> None:
    receiver = ControlReceiver(CLEAN, seed=1)
    assert receiver.packet_chance(power_dbm) == pytest.approx(arrives, abs=1e-3)
    link = Link()
    counted = 0
    for _ in range(3000):
        link.receiver.command = Command()
        link.receiver.failsafe = False
        link.packets(1, power_dbm)
        counted += link.receiver.command is GAS
    assert counted / 3000 == pytest.approx(arrives, abs=0.03)


def test_the_last_command_is_held_until_failsafe_takes_over() -> None:
    link = Link()
    link.packets(10, STRONG_DBM)
    assert link.receiver.command is GAS
    link.packets(int(CLEAN.failsafe_after_s / CLEAN.packet_interval_s), DEAD_DBM, Command())
    assert link.receiver.command is GAS
    assert not link.receiver.failsafe
    link.packets(1, DEAD_DBM, Command())
    assert link.receiver.failsafe
    assert link.receiver.command.throttle < 0.0
    assert link.receiver.failsafe_count == 1


def test_failsafe_ends_after_packets_in_a_row_and_is_counted_again() -> None:
    link = Link()
    link.packets(10, STRONG_DBM)
    link.packets(80, DEAD_DBM)
    link.packets(CLEAN.recover_packets - 1, STRONG_DBM)
    assert link.receiver.failsafe
    link.packets(1, STRONG_DBM)
    assert not link.receiver.failsafe
    assert link.receiver.command is GAS
    link.packets(80, DEAD_DBM)
    assert link.receiver.failsafe_count == 2


def test_report_is_rounded_and_late() -> None:
    link = Link()
    link.packets(100, -70.4)
    assert link.report().rssi_dbm == -70.0
    assert link.report().snr_db == round(-70.4 - CLEAN.noise_dbm)
    link.packets(100, -80.4)
    link.packets(7, -70.4)
    # The last 49 ms are not in it yet.
    assert link.report().rssi_dbm == -80.0
    assert link.report(CLEAN.report_delay_s).rssi_dbm == pytest.approx(-76, abs=1)


def test_report_never_falls_below_the_floor() -> None:
    link = Link(replace(CLEAN, sensitivity_dbm=-140.0))
    link.packets(100, -120.0)
    assert link.report().rssi_dbm == CLEAN.reported_floor_dbm


def test_report_says_nothing_before_and_after_there_is_something_to_say() -> None:
    link = Link()
    assert link.report().rssi_dbm is None
    assert link.report().received_percent is None
    link.packets(100, STRONG_DBM)
    assert link.report().received_percent == 100
    link.packets(100, DEAD_DBM)
    report = link.report()
    assert (report.rssi_dbm, report.snr_db, report.received_percent) == (None, None, 0)


def test_received_share_counts_the_window() -> None:
    link = Link()
    link.packets(64, STRONG_DBM)
    link.packets(16, DEAD_DBM)
    assert link.report(0.1).received_percent == 75


def test_an_unasked_receiver_keeps_little() -> None:
    link = Link()
    link.packets(5000, STRONG_DBM)
    assert len(link.receiver._reports) < 50
    assert link.report(0.1).rssi_dbm == -60.0
