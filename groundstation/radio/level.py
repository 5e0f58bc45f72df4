"""The level of the control link: CLEAR, THIN, LIFT, LOST.

Owns the thresholds' meaning and the hysteresis. Rule: a worse level is taken at once; a better one
only after it has held, with a margin to spare, for `RECOVERY_S`. So the level neither flickers
nor lags.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

RECOVERY_S = 1.0
RECOVERY_DB = 2.0

THIN_RECEIVED_PERCENT = 80.0
LIFT_RECEIVED_PERCENT = 50.0
"""Below this share of control packets a link is collapsing (common practice, no source)."""


class Level(StrEnum):
    """How the control link stands, worst last."""

    CLEAR = "CLEAR"
    THIN = "THIN"
    LIFT = "LIFT"
    LOST = "LOST"

    @property
    def rank(self) -> int:
        """0 for CLEAR to 3 for LOST."""
        return _RANKS[self]


_RANKS = {level: rank for rank, level in enumerate(Level)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When the link is what."""

    required_margin_db: float = 10.0
    """Less than this is THIN."""
    lift_margin_db: float = 3.0
    """Less than this now is LIFT, where no forecast can be made."""
    lift_stop_margin_db: float = -2.5
    """Less than this at the stop point, at 5 %, is LIFT. The local mean is meant: a receiver holds
    on to some 5 dB below its threshold before failsafe begins. With -2.5 dB, 3 of 1008 simulated
    losses were warned of too late and 3 of 1008 safe passes were cried on, at 167 m given up; with
    -4.5 dB 1.0 % and 0.1 %, at 129 m (tests/benchmarks/warnings.py on its fresh seed)."""
    lift_silence_s: float = 0.5
    """Telemetry silent for this long is LIFT: the car may be anywhere."""
    failsafe_s: float = 1.0
    """Nothing received for this long is LOST."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkView:
    """What the level is judged by; None says "not known"."""

    margin_db: float | None
    received_percent: float | None
    failsafe_active: bool | None
    silence_s: float | None
    """Since the last good telemetry frame; None before the first."""
    stop_margin_p05_db: float | None = None
    """5 % quantile of the margin at the stop point; None at rest and where there is no forecast."""
    stop_point_m: float | None = None
    """From the driver; goes with the forecast."""
    coming_nearer: bool = False
    """Whether the car would stop nearer to the driver than it is."""
    brakes: bool = False
    """Whether the driver has lifted and brakes: then LIFT tells nothing more of what is ahead."""


@dataclass(slots=True)
class LevelJudge:
    """Holds the level and the time it has been held."""

    level: Level | None = None
    reason: str = ""
    since_s: float = 0.0
    better_since_s: float | None = None
    """When the link began to look better than `level`; None while it does not."""

    def judge(self, now_s: float, *, view: LinkView, limits: Limits) -> bool:
        """Take note of the link's state; return whether the level changed."""
        wanted, reason = _grade(view, limits, spare_db=0.0)
        if wanted is None:
            return False
        if self.level is None or wanted.rank > self.level.rank:
            return self._take(now_s, wanted, reason)
        recovered, better_reason = _grade(view, limits, spare_db=RECOVERY_DB)
        if recovered is None or recovered.rank >= self.level.rank:
            self.better_since_s = None
            if wanted is self.level:
                self.reason = reason
            return False
        if self.better_since_s is None:
            self.better_since_s = now_s
        if now_s - self.better_since_s < RECOVERY_S:
            return False
        return self._take(now_s, recovered, better_reason)

    def _take(self, now_s: float, level: Level, reason: str) -> bool:
        self.level, self.reason, self.since_s = level, reason, now_s
        self.better_since_s = None
        return True


def _grade(view: LinkView, limits: Limits, *, spare_db: float) -> tuple[Level | None, str]:
    """Return the level without hysteresis, None where nothing is known, and its reason.

    Args:
        view: The link's state.
        limits: The thresholds.
        spare_db: What the margin must have beyond each threshold to count as better.
    """
    silence_s, percent = view.silence_s, view.received_percent
    if silence_s is None:
        return None, ""
    if silence_s >= limits.failsafe_s:
        return Level.LOST, f"no telemetry for {silence_s:.1f} s"
    if view.failsafe_active:
        return Level.LOST, "failsafe active"
    silent = silence_s >= limits.lift_silence_s
    if silent and view.stop_margin_p05_db is None and not view.coming_nearer:
        return Level.LIFT, f"no telemetry for {silence_s:.1f} s"
    if percent is not None and percent < LIFT_RECEIVED_PERCENT:
        return Level.LIFT, f"only {percent:.0f} % of control packets received"
    level, reason = _grade_margin(view, limits, spare_db)
    if level is Level.LIFT:
        return level, f"no telemetry for {silence_s:.1f} s, {reason}" if silent else reason
    if silent:
        return Level.THIN, f"no telemetry for {silence_s:.1f} s"
    if percent is not None and percent < THIN_RECEIVED_PERCENT:
        return Level.THIN, f"only {percent:.0f} % of control packets received"
    if level is None and percent is not None:
        return Level.CLEAR, f"{percent:.0f} % of control packets received"
    return level, reason


def _grade_margin(view: LinkView, limits: Limits, spare_db: float) -> tuple[Level | None, str]:
    """Grade by the margin at the stop point where there is one, else by the margin now."""
    margin_db, figure, place = view.margin_db, "margin", ""
    lift_db = limits.lift_margin_db
    if view.coming_nearer:
        # What is weak now grows stronger by itself: no reason to lift.
        if margin_db is None:
            return None, ""
        if margin_db < limits.lift_margin_db + spare_db:
            return Level.THIN, f"margin {margin_db:.1f} dB, coming nearer"
        return Level.CLEAR, f"margin {margin_db:.1f} dB, coming nearer"
    if view.stop_margin_p05_db is not None and view.stop_point_m is not None:
        margin_db, figure = view.stop_margin_p05_db, "stop margin"
        lift_db = limits.lift_stop_margin_db
        place = f": stops at {view.stop_point_m:.0f} m"
        if view.brakes and margin_db < lift_db + spare_db and not _weak_now(view, limits, spare_db):
            text = f"stop margin {margin_db:.1f} dB (5 %)"
            return Level.THIN, f"{text}{place}, brakes already"
    if margin_db is None:
        return None, ""
    text = f"{figure} {margin_db:.1f} dB{' (5 %)' if place else ''}"
    for level, limit_db in (
        (Level.LIFT, lift_db),
        (Level.THIN, limits.required_margin_db),
    ):
        if margin_db < limit_db + spare_db:
            return level, f"{text}, under {limit_db:g} dB{place}"
    return Level.CLEAR, text + place


def _weak_now(view: LinkView, limits: Limits, spare_db: float) -> bool:
    """Return whether the margin where the car is calls for LIFT, whatever lies ahead."""
    return view.margin_db is not None and view.margin_db < limits.lift_margin_db + spare_db
