"""What left its normal range, and when: one line of an incident's timeline."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from groundstation.analysis.record import Record


class Subject(StrEnum):
    """What a departure is about: the question that is asked after a crash."""

    CONTROL_LINK = "control link"
    YAW = "yaw"
    SHOCK = "shock"
    PACK = "pack"
    ROLL = "roll"
    TELEMETRY = "telemetry link"


@dataclass(frozen=True, slots=True)
class Stretch:
    """The part of a recording that is looked at: the last pass, and what is known of before."""

    record: Record
    start_s: float
    end_s: float
    """The last that was heard of it, or when the car stood; vehicle clock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """A channel that left its normal range."""

    subject: Subject
    quantity: str
    """In plain words."""
    onset_s: float
    """Vehicle clock; the likeliest time."""
    not_before_s: float
    not_after_s: float
    """Between these it began: from the last frame that was still normal to the first that was not,
    and what the report of it is late."""
    before_end_s: float
    value: float | None
    """The farthest from normal that it went at first; None where nothing was measured."""
    unit: str
    normal_low: float | None
    normal_high: float | None
    """None: no bound on this side."""
    words: str

    def surely_before(self, other: Departure) -> bool:
        """Return whether it began earlier whatever the frames' spacing hides."""
        return self.not_after_s < other.not_before_s


def range_words(low: float | None, high: float | None, unit: str) -> str:
    """Return a normal range in words."""
    if low is not None and high is not None:
        return f"normal {number_words(low)} to {number_words(high)} {unit}".rstrip()
    if high is not None:
        return f"normal up to {number_words(high)} {unit}".rstrip()
    if low is not None:
        return f"normal from {number_words(low)} {unit}".rstrip()
    return ""


def number_words(value: float) -> str:
    """Return a number with as many digits as it deserves here."""
    return f"{value:.0f}" if abs(value) >= 10.0 else f"{value:.1f}"


def departure(
    stretch: Stretch,
    *,
    subject: Subject,
    quantity: str,
    seen: tuple[float, float],
    value: float | None,
    unit: str = "",
    normal: tuple[float | None, float | None] = (None, None),
    note: str = "",
    late_s: float = 0.0,
) -> Departure:
    """Return a departure with its words.

    Args:
        stretch: Where it was found.
        subject: What it is about.
        quantity: Of what.
        seen: Vehicle clock at the last frame that was normal, and at the first that was not.
        value: How far it went.
        unit: Of the value and the range.
        normal: Lowest and highest normal value.
        note: Added to the words.
        late_s: By how much the report of it is late.
    """
    earliest_s, latest_s = seen[0] - late_s, seen[1] - 0.5 * late_s
    onset_s = 0.5 * (seen[0] + seen[1]) - late_s
    before_end_s = stretch.end_s - onset_s
    figures = "" if value is None else f" {number_words(value)} {unit}".rstrip()
    extras = [each for each in (range_words(*normal, unit), note) if each]
    words = f"{before_end_s:.1f} s before the end: {quantity}{figures}"
    return Departure(
        subject=subject,
        quantity=quantity,
        onset_s=onset_s,
        not_before_s=earliest_s,
        not_after_s=latest_s,
        before_end_s=before_end_s,
        value=value,
        unit=unit,
        normal_low=normal[0],
        normal_high=normal[1],
        words=words + (f" ({'; '.join(extras)})" if extras else ""),
    )
