"""When a beat is heard: a rhythm of its own for every level, and one for the countdown.

Owns the patterns. Pure: a beat follows from the tick, the level and the time until the lift point,
so a replay beats like the live session did. Rule: silence is CLEAR; each level is told from the
others by rhythm alone, because a terminal's bell has one pitch only.
"""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.radio.level import Level
from groundstation.vehicle.traces import TICK_S


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """Groups of beats that repeat; times in ticks of the session clock."""

    beats: int
    """In a group."""
    beat_ticks: int
    """From one beat of a group to the next."""
    repeat_ticks: int
    """From one group to the next."""
    duty: float
    """Share of `beat_ticks` in which a tone sounds."""

    @property
    def sounding_s(self) -> float:
        """Length of a tone."""
        return self.beat_ticks * TICK_S * self.duty

    def beats_at(self, ticks: int) -> bool:
        """Return whether a beat begins, so many ticks after the level did."""
        seldom = REMINDER_TICKS if ticks >= INSISTENT_TICKS else 0
        step, rest = divmod(ticks % max(self.repeat_ticks, seldom), self.beat_ticks)
        return rest == 0 and step < self.beats


PATTERNS = {
    Level.THIN: Pattern(beats=1, beat_ticks=4, repeat_ticks=40, duty=0.5),
    Level.LIFT: Pattern(beats=1, beat_ticks=5, repeat_ticks=5, duty=0.6),
    Level.LOST: Pattern(beats=3, beat_ticks=6, repeat_ticks=40, duty=0.8),
}
"""THIN: a short beat every 2 s. LIFT: four a second. LOST: three long ones every 2 s."""

INSISTENT_TICKS = 300
"""A pass is long over after 15 s at one level: from then on the pattern is a reminder only, so that
a car that is switched off or parked at the far end does not wear its driver out."""

REMINDER_TICKS = 100

COUNTDOWN_FROM_S = 5.0
"""The countdown to the lift is heard from here on."""

COUNTDOWN_SHARE = 0.2
COUNTDOWN_SLOWEST_S, COUNTDOWN_FASTEST_S = 1.0, 0.3
"""The next beat comes after this share of the time that is left: one second apart at five seconds,
faster and faster, but never as fast as LIFT itself."""


def countdown_ticks(lift_in_s: float) -> int:
    """Return how many ticks lie between two beats of the countdown."""
    apart_s = min(max(COUNTDOWN_SHARE * lift_in_s, COUNTDOWN_FASTEST_S), COUNTDOWN_SLOWEST_S)
    return round(apart_s / TICK_S)


@dataclass(slots=True)
class Rhythm:
    """Follows the ticks and says when a beat begins."""

    level: Level | None = None
    since_tick: int = 0
    """When the level began."""
    tick: int = -1
    """The last one followed."""
    beat_tick: int = -1
    """When the last beat began."""

    def beats(self, tick: int, *, level: Level | None, lift_in_s: float | None) -> bool:
        """Return whether a beat begins at a tick.

        Args:
            tick: Greater than the last one, but after a seek.
            level: At this tick; None before anything is known.
            lift_in_s: Until the lift point, None where that is not known.
        """
        if level is not self.level or tick <= self.tick:
            self.level, self.since_tick, self.beat_tick = level, tick, tick
        self.tick = tick
        if level is None or level is Level.CLEAR:
            return False
        counting = level is Level.THIN and lift_in_s is not None and lift_in_s <= COUNTDOWN_FROM_S
        if counting and tick > self.since_tick:
            assert lift_in_s is not None
            begins = tick - self.beat_tick >= countdown_ticks(lift_in_s)
        else:
            begins = PATTERNS[level].beats_at(tick - self.since_tick)
        if begins:
            self.beat_tick = tick
        return begins
