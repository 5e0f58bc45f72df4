"""Step 2: the proof that the car lets go of the throttle when the radio goes silent.

Owns the order off - failsafe - on - recovered, and when each of them was. When the transmitter
was switched off and on is told by the car's own radio reports, by the person, or, where
neither says so, by the failsafe itself. Rule: what the telemetry did not show is not proven.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from groundstation.rangecheck.setting import FailsafeLimits
from groundstation.vehicle.peaks import number
from protocol import Value

SETTLE_S = 1.0
"""The link is watched for so long before anything is asked."""
FALLEN_PERCENT = 20.0
"""The received share has fallen when it is so far under what it was."""
RISEN_PERCENT = 3.0
WATCH_ON_S = 3.0
"""After the time allowed for failsafe, to tell late from never."""
RECOVERY_GIVEN_UP_S = 20.0
SILENT_TELEMETRY_S = 0.5
CONFIRMED_S = 3.0
"""A car that still hears packets so long after the person's word hears another transmitter."""
BY_FAILSAFE = "the failsafe itself"
IN_A_ROW = 2
"""Reports that must agree."""


class Phase(StrEnum):
    """Where the proof is."""

    SETTLING = "settling"
    READY = "ready"
    """Waiting for the transmitter to be switched off."""
    SILENT = "silent"
    """It is off; waiting for failsafe."""
    ACTIVE = "active"
    """In failsafe; waiting for the transmitter to be switched on."""
    BACK = "back"
    """It is on; waiting for recovery."""
    DONE = "done"


_INSTRUCTIONS = {
    Phase.SETTLING: "Wheels clear of the ground, nobody near them. Transmitter on, and wait",
    Phase.READY: (
        "Wheels clear of the ground, nobody near them. Hold a little throttle, "
        "then switch the transmitter off"
    ),
    Phase.SILENT: "The transmitter is off: wait for the car's failsafe",
    Phase.ACTIVE: "Failsafe is active: let the throttle go and switch the transmitter on again",
    Phase.BACK: "The transmitter is on: wait for the car to leave failsafe",
    Phase.DONE: "The failsafe step is over; repeat it if it did not go as meant",
}

_PROGRESS = {
    Phase.SETTLING: 0.0,
    Phase.READY: 0.1,
    Phase.SILENT: 0.3,
    Phase.ACTIVE: 0.6,
    Phase.BACK: 0.8,
    Phase.DONE: 1.0,
}


@dataclass(slots=True)
class FailsafeProof:
    """One proof."""

    limits: FailsafeLimits
    phase: Phase = Phase.SETTLING
    began_s: float | None = None
    healthy_percent: float = 0.0
    had_level: bool = False
    throttle_before: float = 0.0
    """Largest while the transmitter was on; a car that was given none proves less."""
    confirmed_off_s: float | None = None
    off_s: float | None = None
    off_told_by: str = ""
    active_s: float | None = None
    """Failsafe first reported."""
    neutral_s: float | None = None
    """First reported with neutral throttle."""
    on_s: float | None = None
    recovered_s: float | None = None
    throttle_after: float | None = None
    """Newest in failsafe."""
    kept: int = 0
    """Samples in failsafe past the time allowed whose throttle was not neutral."""
    lowest_percent: float | None = None
    fell: bool = False
    """The reports showed that the transmitter was off."""
    suspect_s: float | None = None
    suspects: int = 0
    returns: int = 0
    motion_s: float | None = None
    """Arrival of the newest motion frame."""
    blind: bool = False
    """The telemetry was silent when it mattered."""
    stranger: bool = False
    """Packets went on arriving though the person said "off"."""
    too_short: bool = False
    """Switched on again before failsafe was due."""

    @property
    def done(self) -> bool:
        """Whether the proof is over, well or not."""
        return self.phase is Phase.DONE

    @property
    def instruction(self) -> str:
        """What to do next."""
        if self.phase is Phase.READY and self.too_short:
            return (
                "Wheels clear of the ground. That was too short: "
                f"switch the transmitter off for {self.limits.within_s + 1.0:.0f} s"
            )
        return _INSTRUCTIONS[self.phase]

    @property
    def progress(self) -> float:
        """0 to 1."""
        return _PROGRESS[self.phase]

    def said_off(self, now_s: float) -> None:
        """The person says that the transmitter is off."""
        if self.phase in (Phase.SETTLING, Phase.READY):
            self.confirmed_off_s = now_s

    def said_on(self, now_s: float) -> None:
        """The person says that the transmitter is on again."""
        if self.phase is Phase.ACTIVE:
            self._is_on(now_s)

    def take_radio(self, values: Mapping[str, Value], at_s: float) -> None:
        """Take note of a radio report."""
        level_dbm = number(values, "control_rssi_dbm")
        percent = number(values, "control_received_percent")
        match self.phase:
            case Phase.READY:
                self._watch_for_off(level_dbm, percent, at_s)
            case Phase.SILENT | Phase.ACTIVE:
                self._watch_for_on(level_dbm, percent, at_s)
            case _:
                pass
        if self.phase in (Phase.SETTLING, Phase.READY):
            self.had_level = self.had_level or level_dbm is not None
            if percent is not None and self.suspects == 0:
                self.healthy_percent = max(self.healthy_percent, percent)

    def take_motion(self, values: Mapping[str, Value], at_s: float) -> None:
        """Take note of a motion frame."""
        self.motion_s = at_s
        active = values.get("failsafe_active") is True
        throttle, speed_mps = number(values, "throttle_percent"), number(values, "speed_mps")
        match self.phase:
            case Phase.SETTLING:
                self.began_s = at_s if self.began_s is None or active else self.began_s
                if at_s - self.began_s >= SETTLE_S:
                    self.phase = Phase.READY
            case Phase.READY if not active:
                self.throttle_before = max(self.throttle_before, abs(throttle or 0.0))
            case Phase.READY:
                self._is_off(at_s, BY_FAILSAFE)
                self._in_failsafe(throttle, speed_mps, at_s)
            case Phase.SILENT | Phase.ACTIVE if active:
                self._in_failsafe(throttle, speed_mps, at_s)
            case Phase.SILENT | Phase.ACTIVE if self.active_s is not None:
                self.on_s = self.recovered_s = at_s
                self.phase = Phase.DONE
            case Phase.BACK if not active:
                self.recovered_s = at_s
                self.phase = Phase.DONE
            case _:
                pass

    def tick(self, now_s: float) -> None:
        """Judge what only time tells."""
        off_s, on_s = self.off_s, self.on_s
        if self.phase is Phase.READY and self.confirmed_off_s is not None:
            self._trust_the_person(now_s, self.confirmed_off_s)
        elif self.phase is Phase.SILENT and off_s is not None:
            if self._is_blind(now_s):
                self.blind, self.phase = True, Phase.DONE
            elif self.active_s is not None and now_s - off_s > self.limits.within_s:
                self.phase = Phase.ACTIVE
            elif now_s - off_s > self.limits.within_s + WATCH_ON_S:
                self.phase = Phase.DONE
        elif self.phase is Phase.BACK and on_s is not None:
            if self._is_blind(now_s):
                self.blind, self.phase = True, Phase.DONE
            elif now_s - on_s > RECOVERY_GIVEN_UP_S:
                self.phase = Phase.DONE

    def _is_blind(self, now_s: float) -> bool:
        return self.motion_s is None or now_s - self.motion_s > SILENT_TELEMETRY_S

    def _trust_the_person(self, now_s: float, said_s: float) -> None:
        if not self.had_level and self.healthy_percent == 0.0:
            self._is_off(said_s, "the person")
        elif now_s - said_s > CONFIRMED_S:
            self.stranger, self.phase = True, Phase.DONE

    def _watch_for_off(self, level_dbm: float | None, percent: float | None, at_s: float) -> None:
        if not self._shows_off(level_dbm, percent):
            self.suspects = 0
            return
        if self.suspects == 0:
            self.suspect_s = at_s
        self.suspects += 1
        if self.suspects >= IN_A_ROW and self.suspect_s is not None:
            self.lowest_percent, self.fell = percent, True
            self._is_off(self.suspect_s, "the car's radio reports")

    def _shows_off(self, level_dbm: float | None, percent: float | None) -> bool:
        """Return whether a report is one of a transmitter that is off."""
        gone = self.had_level and level_dbm is None
        fallen = percent is not None and percent <= self.healthy_percent - FALLEN_PERCENT
        return gone or fallen

    def _is_off(self, off_s: float, told_by: str) -> None:
        self.off_s, self.off_told_by = off_s, told_by
        self.phase, self.returns = Phase.SILENT, 0

    def _in_failsafe(self, throttle: float | None, speed_mps: float | None, at_s: float) -> None:
        assert self.off_s is not None
        self.active_s = at_s if self.active_s is None else self.active_s
        self.throttle_after = throttle
        neutral = throttle is not None and throttle <= self.limits.neutral_percent
        if neutral and self.neutral_s is None:
            self.neutral_s = at_s
            self.phase = Phase.ACTIVE
        if not neutral and at_s - self.off_s > self.limits.within_s:
            self.kept += 1

    def _watch_for_on(self, level_dbm: float | None, percent: float | None, at_s: float) -> None:
        lowest = self.lowest_percent
        if percent is not None:
            self.lowest_percent = percent if lowest is None else min(lowest, percent)
        risen = (
            percent is not None
            and self.lowest_percent is not None
            and percent > self.lowest_percent + RISEN_PERCENT
        )
        self.fell = self.fell or self._shows_off(level_dbm, percent)
        # Reports lag: they count as back only once they showed that it was off.
        back = self.fell and (risen or (percent is None and level_dbm is not None))
        if not back:
            self.returns = 0
            return
        if self.returns == 0:
            self.suspect_s = at_s
        self.returns += 1
        if self.returns < IN_A_ROW or self.suspect_s is None or self.off_s is None:
            return
        if self.phase is Phase.ACTIVE:
            self._is_on(self.suspect_s)
        elif self.active_s is None and self.suspect_s - self.off_s > self.limits.within_s:
            self.phase = Phase.DONE
        elif self.active_s is None:
            self.phase, self.off_s, self.too_short = Phase.READY, None, True
            self.suspects, self.returns, self.confirmed_off_s = 0, 0, None

    def _is_on(self, on_s: float) -> None:
        self.on_s, self.phase = on_s, Phase.BACK

    @property
    def timed(self) -> bool:
        """Whether anything told when the transmitter went off.

        A failsafe that comes before the radio reports fall came in time; one whose reports never
        fell was none of ours.
        """
        return self.fell or self.off_told_by != BY_FAILSAFE

    @property
    def failsafe_after_s(self) -> float | None:
        """From switching off to failsafe."""
        return _since(self.off_s, self.active_s)

    @property
    def neutral_after_s(self) -> float | None:
        """From switching off to failsafe with neutral throttle."""
        return _since(self.off_s, self.neutral_s)

    @property
    def recovered_after_s(self) -> float | None:
        """From switching on to leaving failsafe."""
        return _since(self.on_s, self.recovered_s)


def _since(begun_s: float | None, ended_s: float | None) -> float | None:
    return None if begun_s is None or ended_s is None else max(ended_s - begun_s, 0.0)
