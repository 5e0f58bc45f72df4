"""What every reader of a foreign log gives: series of channels, each with its times.

Rules: a value that is not known is NaN, never 0; times count from the log's first row and never go
back. What was left out or mended is counted and told, never silent.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from groundstation.errors import SessionFileError

Numbers = NDArray[np.float64]

MAX_SPAN_S = 86_400.0
"""A session of more than a day is a mistake in the times, and would take hours to index."""

MAX_PAUSE_S = 3600.0
"""A row that is later than the one before by more is taken for a damaged time."""


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Frames of one kind: a time each, and the channels that were logged."""

    kind: str
    at_s: Numbers
    """Since the log's first row, never decreasing."""
    values: Mapping[str, Numbers]
    """By channel; in the channel's own unit, NaN where it is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class ForeignLog:
    """A log that has been understood."""

    series: tuple[Series, ...]
    started: datetime | None
    """Time of day of the first row; None where the log does not say."""
    marks: tuple[tuple[float, str], ...] = ()
    """Moments that somebody marked: seconds since the first row, and a text."""
    channels_text: str = ""
    """Kinds for channels that have no place in the standard table, TOML; empty where none do."""
    counts: Mapping[str, int] = field(default_factory=dict)
    """What was left out or mended, by what it was."""

    @property
    def end_at_s(self) -> float:
        """When the last row was."""
        return max((float(each.at_s[-1]) for each in self.series if len(each.at_s)), default=0.0)

    @property
    def rows(self) -> int:
        """Frames that will be encoded."""
        return sum(len(each.at_s) for each in self.series)


def usable_times(times_s: Numbers, counts: Counter[str]) -> NDArray[np.bool_]:
    """Return which rows have a time that can follow the row before.

    A time that is missing, goes back, or leaps by more than `MAX_PAUSE_S` is left out and counted.

    Raises:
        SessionFileError: No row has a usable time, or they span more than a day.
    """
    finite = np.flatnonzero(np.isfinite(times_s))
    usable = np.zeros(len(times_s), np.bool_)
    steps_s = np.diff(times_s[finite])
    follows = (steps_s >= 0) & (steps_s <= MAX_PAUSE_S)
    if len(finite) and bool(np.all(follows)):
        usable[finite] = True
    elif len(finite):
        # The first row that its successor agrees with: a log may begin with a clock not yet set.
        begin = int(np.argmax(follows)) if np.any(follows) else 0
        newest_s = times_s[finite[begin]]
        for row, time_s in zip(
            finite[begin:].tolist(), times_s[finite[begin:]].tolist(), strict=True
        ):
            if newest_s <= time_s <= newest_s + MAX_PAUSE_S:
                usable[row], newest_s = True, time_s
    if not usable.any():
        raise SessionFileError("no row of the log has a time that can be read")
    kept_s = times_s[usable]
    if kept_s[-1] - kept_s[0] > MAX_SPAN_S:
        raise SessionFileError("the log spans more than a day", "Cut it into parts")
    if left_out := len(times_s) - int(usable.sum()):
        counts["rows without a usable time"] += left_out
    return usable
