"""The control link along the course, over all passes: how it follows the distance, and where not.

Owns the joining of the distance law fitted robustly to all passes, the margin by place and
direction (`link_bins.py`), and one plain reason for the lowest (`link_reason.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from groundstation.analysis.link_bins import (
    LEAST_IN_BIN,
    DistanceLaw,
    MarginBin,
    Reports,
    bins_of,
    directions_db,
    law_of,
    reports_of,
)
from groundstation.analysis.link_reason import Reason, reason_of
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Record


@dataclass(frozen=True, slots=True)
class LowestMargin:
    """Where the margin was lowest."""

    margin_db: float
    """Median of the piece of course around it."""
    lowest_db: float
    """The lowest single report there."""
    along_m: float
    distance_m: float
    pass_number: int
    """Of the lowest report."""
    outward: bool
    away: bool
    """The car was driving away from the driver."""
    below_law_db: float | None
    """How much less than the distance explains; negative is more."""
    reason: Reason
    words: str


@dataclass(frozen=True, slots=True)
class LinkByPlace:
    """The control link over all passes."""

    bins: tuple[MarginBin, ...]
    law: DistanceLaw | None
    lowest: LowestMargin | None
    away_less_toward_db: float | None
    """Median difference at the same places; None where few were passed both ways."""
    driver_known: bool
    """Else the distance is from where the first pass began."""
    words: str


def link_by_place(
    record: Record, spans: Sequence[PassSpan], places: Sequence[Columns]
) -> LinkByPlace:
    """Return the control link along the course; without reports all of it is empty or None.

    Args:
        record: One vehicle's recording.
        spans: Its passes.
        places: Of each of them, as `course.place_over_time` gives it.
    """
    reports = reports_of(record, spans, places)
    on_course = any("aside_m" in place.values for place in places)
    driver_known = record.driver is not None and on_course
    if not len(reports.margin_db):
        return LinkByPlace(
            (), None, None, None, driver_known, "no margin was reported during a pass: cannot tell"
        )
    law = law_of(reports)
    bins = bins_of(reports, law)
    apart_db = directions_db(bins)
    lowest = _lowest(reports, bins, law, apart_db, driver_known=driver_known)
    words = "the margin was reported too rarely to say where it was lowest: cannot tell"
    if lowest is not None:
        words = lowest.words
    return LinkByPlace(bins, law, lowest, apart_db, driver_known, words)


def _lowest(
    reports: Reports,
    bins: tuple[MarginBin, ...],
    law: DistanceLaw | None,
    apart_db: float | None,
    *,
    driver_known: bool,
) -> LowestMargin | None:
    enough = [each for each in bins if each.reports >= LEAST_IN_BIN]
    if not enough:
        return None
    worst = min(enough, key=lambda each: each.median_db)
    rows = np.flatnonzero(
        (reports.along_m >= worst.from_m)
        & (reports.along_m < worst.to_m)
        & (reports.outward == float(worst.outward))
    )
    row = int(rows[int(np.argmin(reports.margin_db[rows]))])
    along_m, distance_m = float(reports.along_m[row]), float(reports.distance_m[row])
    below_db = None if worst.law_db is None else worst.law_db - worst.median_db
    whence = "the driver" if driver_known else "where the first pass began"
    reason, why = reason_of(worst, bins, law, apart_db)
    return LowestMargin(
        margin_db=worst.median_db,
        lowest_db=worst.lowest_db,
        along_m=along_m,
        distance_m=distance_m,
        pass_number=int(reports.number[row]),
        outward=worst.outward,
        away=worst.away,
        below_law_db=below_db,
        reason=reason,
        words=f"weakest stretch: median margin {worst.median_db:.0f} dB at {distance_m:.0f} m from "
        f"{whence}, driving {'away' if worst.away else 'toward the driver'}: {why}",
    )
