"""The control receiver on board: packets, what it reports of them, and failsafe.

Owns which control packets arrive, the commands held since the last one, and the failsafe. A packet
is lost more often the closer the power is to the receiver's sensitivity. What the receiver
reports is averaged, late, rounded to whole dB, bounded below, and only ever taken from packets that
did arrive: near the edge of range it flatters, and beyond it says nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import exp, log

from groundstation.simulator.command import REST, Command
from groundstation.simulator.noise import Stream, generator, normals, uniforms


@dataclass(frozen=True, slots=True)
class ControlReceiverParameters:
    """A control receiver."""

    sensitivity_dbm: float = -100.0
    """Where one packet in ten is lost without fading."""
    noise_dbm: float = -108.0
    """In its bandwidth, noise figure included."""
    packet_interval_s: float = 0.007
    loss_slope_db: float = 0.6
    """Change of power that changes the odds of a loss by e."""
    interference_loss: float = 0.004
    """Share of packets lost at any power."""
    report_delay_s: float = 0.06
    report_average_s: float = 0.08
    reported_floor_dbm: float = -104.0
    report_noise_db: float = 0.5
    silent_after_s: float = 0.25
    """Without a packet for so long it reports no level."""
    share_window: int = 64
    """Packets over which the received share is counted."""
    failsafe_after_s: float = 0.4
    recover_packets: int = 3
    """In a row, to leave failsafe."""
    recover_after_s: float = 0.0
    """From the first packet that arrives again to leaving failsafe; never sooner."""
    failsafe_command: Command = field(default_factory=lambda: Command(throttle=-0.8))
    """Throttle off, brake on, wheels straight."""


@dataclass(frozen=True, slots=True)
class LinkReport:
    """What the receiver says of its link; None where it has nothing to say."""

    measured_s: float
    rssi_dbm: float | None
    snr_db: float | None
    received_percent: int | None


class ControlReceiver:
    """Receives, or not."""

    def __init__(self, parameters: ControlReceiverParameters, *, seed: int) -> None:
        self.parameters = parameters
        self.command = REST
        """In force: the last one received, or the failsafe's."""
        self.failsafe = False
        self.failsafe_count = 0
        self._odds_at_sensitivity = log(9.0)
        self._chances: Iterator[float] = uniforms(generator(seed, Stream.PACKETS))
        self._noise: Iterator[float] = normals(generator(seed, Stream.REPORTS))
        self._last_s = 0.0
        self._back_s: float | None = None
        """First packet that arrived in the failsafe that is active."""
        self._in_a_row = 0
        self._level_dbm: float | None = None
        self._keep = exp(-parameters.packet_interval_s / parameters.report_average_s)
        self._arrived: deque[bool] = deque(maxlen=parameters.share_window)
        self._arrivals = 0
        """Of those, the ones that did."""
        kept = 16 + int(parameters.report_delay_s / parameters.packet_interval_s)
        self._reports: deque[tuple[float, float | None, int]] = deque(maxlen=kept)
        """Measured, not yet reported; only a receiver that nobody asks forgets any."""
        self._newest: tuple[float, float | None, int] | None = None

    def packet_chance(self, power_dbm: float) -> float:
        """Return the chance that a packet of this power arrives."""
        given = self.parameters
        odds = (power_dbm - given.sensitivity_dbm) / given.loss_slope_db + self._odds_at_sensitivity
        if odds < -40.0:
            return 0.0
        return (1.0 - given.interference_loss) / (1.0 + exp(-odds))

    def packet_due(self, t_s: float, power_dbm: float, command: Command) -> None:
        """Receive or lose one packet.

        Args:
            t_s: When it is due.
            power_dbm: At which it would arrive, fading included.
            command: What it carries.
        """
        given = self.parameters
        arrives = next(self._chances) < self.packet_chance(power_dbm)
        if len(self._arrived) == given.share_window:
            self._arrivals -= self._arrived[0]
        self._arrived.append(arrives)
        self._arrivals += arrives
        if arrives:
            self._last_s = t_s
            self._in_a_row += 1
            if self._level_dbm is None:
                self._level_dbm = power_dbm
            self._level_dbm += (1.0 - self._keep) * (power_dbm - self._level_dbm)
            if not self.failsafe or self._recovers(t_s):
                self.failsafe = False
                self.command = command
        else:
            self._in_a_row = 0
            if t_s - self._last_s > given.silent_after_s:
                self._level_dbm = None
            if not self.failsafe and t_s - self._last_s > given.failsafe_after_s:
                self.failsafe, self._back_s = True, None
                self.failsafe_count += 1
                self.command = given.failsafe_command
        percent = round(100.0 * self._arrivals / len(self._arrived))
        self._reports.append((t_s, self._level_dbm, percent))

    def _recovers(self, t_s: float) -> bool:
        given = self.parameters
        self._back_s = t_s if self._back_s is None else self._back_s
        waited = t_s - self._back_s >= given.recover_after_s
        return waited and self._in_a_row >= given.recover_packets

    def report(self, t_s: float) -> LinkReport:
        """Return what the receiver says at a time."""
        given = self.parameters
        while self._reports and self._reports[0][0] <= t_s - given.report_delay_s:
            self._newest = self._reports.popleft()
        noise_db = given.report_noise_db * next(self._noise)
        if self._newest is None:
            return LinkReport(t_s, None, None, None)
        measured_s, level_dbm, percent = self._newest
        if level_dbm is None:
            return LinkReport(measured_s, None, None, percent)
        rssi_dbm = float(max(round(level_dbm), given.reported_floor_dbm))
        snr_db = float(round(min(level_dbm - given.noise_dbm + noise_db, 60.0)))
        return LinkReport(measured_s, rssi_dbm, snr_db, percent)
