"""The control link along the course, over all passes: how it follows the distance, and where not.

Owns the distance law fitted robustly to all passes, the margin by place and direction, and one
plain reason for the lowest. Rules, in order: weaker at the same places while driving away than
while coming is the aerial's side that faces the driver then; within the law's band is the distance;
below it at the same place in both directions is the place; anything else cannot be told.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from groundstation.analysis.course import Course, place_over_time
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.analysis.robust_line import RobustLine, robust_line, robust_sigma

REPORT_LAG_S = 0.15
"""Age of what a report tells (as in the watch)."""
NEAREST_M = 10.0
"""Closer than this the distance law is not followed."""
LEAST_REPORTS = 20
LEAST_SPREAD = 2.0
"""Farthest over nearest distance, to tell a law at all."""
BIN_M = 10.0
LEAST_IN_BIN = 3
LEAST_PAIRS = 4
"""Bins passed both ways before the directions are compared."""
NEAR_BINS = 1
"""A place is a bin and so many on each side."""
BAND_SIGMAS = 2.0
BAND_FLOOR_DB = 3.0
"""A law's band is never narrower: shadows of low aerials (common practice, no source)."""
LOOSE_BAND_DB = 7.0
"""About a law as loose as this, everything is within the band."""
DIRECTION_DB = 3.0
"""A difference between the directions that is worth a word (common practice, no source)."""


class Reason(StrEnum):
    """Why the margin was lowest there."""

    DISTANCE = "distance"
    PLACE = "place"
    DIRECTION = "direction"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class MarginBin:
    """The margin on one piece of the course."""

    from_m: float
    to_m: float
    """Along the course."""
    outward: bool
    """Driven toward greater places."""
    away: bool
    """Driven away from the driver."""
    reports: int
    passes: int
    median_db: float
    lowest_db: float
    law_db: float | None
    """What the distance explains; None without a law."""


@dataclass(frozen=True, slots=True)
class DistanceLaw:
    """Margin against distance."""

    margin_at_100m_db: float
    exponent: float
    band_db: float
    """Half width of the band in which the margins mostly lie about the law."""
    reports: int

    def margin_db(self, distance_m: Floats) -> Floats:
        """Return the law's margins."""
        decades = np.log10(np.asarray(distance_m) / 100.0)
        return np.asarray(self.margin_at_100m_db - 10.0 * self.exponent * decades)


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


@dataclass(frozen=True, slots=True)
class _Reports:
    """Radio reports with their place; (n) each."""

    margin_db: Floats
    along_m: Floats
    distance_m: Floats
    outward: Floats
    """1 toward greater places, else 0."""
    number: Floats
    """Of the pass."""


def link_by_place(record: Record, spans: list[PassSpan], course: Course | None) -> LinkByPlace:
    """Return the control link along the course; without reports all of it is empty or None."""
    reports = _reports(record, spans, course)
    driver_known = record.driver is not None and course is not None
    if not len(reports.margin_db):
        return LinkByPlace(
            (), None, None, None, driver_known, "no margin was reported during a pass: cannot tell"
        )
    law = _law(reports)
    bins = _bins(reports, law)
    apart_db = _directions_db(bins)
    lowest = _lowest(reports, bins, law, apart_db, driver_known=driver_known)
    words = "the margin was reported too rarely to say where it was lowest: cannot tell"
    if lowest is not None:
        words = lowest.words
    return LinkByPlace(bins, law, lowest, apart_db, driver_known, words)


def _reports(record: Record, spans: list[PassSpan], course: Course | None) -> _Reports:
    threshold_dbm = record.threshold_dbm
    parts: list[tuple[Floats, ...]] = []
    for span in spans:
        places = place_over_time(record, course, span)
        radio = record.radio.between(span.start_s, span.end_s)
        if threshold_dbm is None or len(places) < 2 or not len(radio):
            continue
        measured_s = radio.t_s - REPORT_LAG_S
        along_m = np.interp(measured_s, places.t_s, places["along_m"], left=np.nan)
        aside_m = np.interp(measured_s, places.t_s, np.nan_to_num(places["aside_m"]), left=np.nan)
        ends = places["along_m"][~np.isnan(places["along_m"])]
        if len(ends) < 2:
            continue
        margin_db = radio["control_rssi_dbm"] - threshold_dbm
        known = ~np.isnan(margin_db) & ~np.isnan(along_m)
        count = int(known.sum())
        parts.append(
            (
                margin_db[known],
                along_m[known],
                np.hypot(along_m, aside_m)[known],
                np.full(count, float(ends[-1] > ends[0])),
                np.full(count, float(span.number)),
            )
        )
    if not parts:
        return _Reports(*(np.empty(0) for _ in range(5)))
    return _Reports(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _law(reports: _Reports) -> DistanceLaw | None:
    far = reports.distance_m >= NEAREST_M
    distance_m = reports.distance_m[far]
    if far.sum() < LEAST_REPORTS or distance_m.max() < LEAST_SPREAD * distance_m.min():
        return None
    line: RobustLine | None = robust_line(np.log10(distance_m / 100.0), reports.margin_db[far])
    if line is None:
        return None
    off_db = reports.margin_db[far] - line.at(np.log10(distance_m / 100.0))
    band_db = max(BAND_SIGMAS * robust_sigma(off_db), BAND_FLOOR_DB)
    return DistanceLaw(line.intercept, -line.slope / 10.0, band_db, line.count)


def _bins(reports: _Reports, law: DistanceLaw | None) -> tuple[MarginBin, ...]:
    found = []
    cells = np.floor(reports.along_m / BIN_M).astype(int)
    for outward in (True, False):
        side = reports.outward == float(outward)
        for cell in np.unique(cells[side]):
            rows = np.flatnonzero(side & (cells == cell))
            law_db = None
            if law is not None:
                distance_m = np.maximum(reports.distance_m[rows], NEAREST_M)
                law_db = float(np.median(law.margin_db(distance_m)))
            found.append(
                MarginBin(
                    from_m=float(cell * BIN_M),
                    to_m=float((cell + 1) * BIN_M),
                    outward=outward,
                    away=bool(cell >= 0) == outward,
                    reports=len(rows),
                    passes=len(np.unique(reports.number[rows])),
                    median_db=float(np.median(reports.margin_db[rows])),
                    lowest_db=float(np.min(reports.margin_db[rows])),
                    law_db=law_db,
                )
            )
    return tuple(found)


def _directions_db(bins: tuple[MarginBin, ...]) -> float | None:
    """Return by how much driving away lies above driving toward the driver, at the same places."""
    sides: dict[tuple[float, bool], float] = {
        (each.from_m, each.away): each.median_db for each in bins if each.reports >= LEAST_IN_BIN
    }
    apart_db = [
        away_db - sides[place_m, False]
        for (place_m, away), away_db in sides.items()
        if away and (place_m, False) in sides
    ]
    return float(np.median(apart_db)) if len(apart_db) >= LEAST_PAIRS else None


def _lowest(
    reports: _Reports,
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
    reason, why = _why(worst, bins, law, apart_db)
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


def _why(
    worst: MarginBin,
    bins: tuple[MarginBin, ...],
    law: DistanceLaw | None,
    apart_db: float | None,
) -> tuple[Reason, str]:
    if law is None or worst.law_db is None:
        return Reason.CANNOT_TELL, "too few distances to know the distance law: cannot tell why"
    below_db = worst.law_db - worst.median_db
    one_way = apart_db is not None and abs(apart_db) >= DIRECTION_DB
    weak_side = apart_db is not None and (apart_db < 0.0) == worst.away
    if one_way and weak_side:
        assert apart_db is not None
        side, end = ("away", "back") if worst.away else ("toward the driver", "front")
        return (
            Reason.DIRECTION,
            f"driving {side} it is {abs(apart_db):.0f} dB weaker than the other way at the same "
            f"places: the {end} of the car's aerial",
        )
    if law.band_db > LOOSE_BAND_DB:
        return (
            Reason.CANNOT_TELL,
            f"the margin scatters by {law.band_db:.0f} dB about any distance law: cannot tell why",
        )
    if below_db <= law.band_db:
        return Reason.DISTANCE, f"it follows the distance law (exponent {law.exponent:.1f})"
    other = [
        each.law_db - each.median_db
        for each in bins
        if each.outward != worst.outward
        and each.law_db is not None
        and abs(each.from_m - worst.from_m) <= NEAR_BINS * BIN_M
    ]
    lower = f"{below_db:.0f} dB less than the distance explains"
    if not other:
        return (
            Reason.CANNOT_TELL,
            f"{lower}, but the place was passed in one direction only: cannot tell whether it is "
            f"the place or the car's aerial",
        )
    if max(other) >= 0.5 * below_db:
        return Reason.PLACE, f"{lower}, in both directions: the place"
    return (
        Reason.CANNOT_TELL,
        f"{lower} in this direction, and not in the other one: cannot tell why",
    )
