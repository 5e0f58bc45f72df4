"""The margin along the course in numbers: reports with their places, distance law, bins.

Owns what is reckoned before anything is concluded from it (`link_reason.py`, `link_by_place.py`).
A report is placed where the car was when it was made, `REPORT_LAG_S` before it came.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Floats, Record
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
BAND_SIGMAS = 2.0
BAND_FLOOR_DB = 3.0
"""A law's band is never narrower: shadows of low aerials (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reports:
    """Radio reports with their place; (n) each."""

    margin_db: Floats
    along_m: Floats
    distance_m: Floats
    outward: Floats
    """1 toward greater places, else 0."""
    number: Floats
    """Of the pass."""


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
        """Return the law's margins at distances, (n)."""
        decades = np.log10(np.asarray(distance_m) / 100.0)
        return np.asarray(self.margin_at_100m_db - 10.0 * self.exponent * decades)


def reports_of(record: Record, spans: Sequence[PassSpan], places: Sequence[Columns]) -> Reports:
    """Return the margins that were reported during passes, each with its place.

    Args:
        record: One vehicle's recording.
        spans: Its passes.
        places: Of each of them, as `course.place_over_time` gives it.
    """
    threshold_dbm = record.threshold_dbm
    parts: list[tuple[Floats, ...]] = []
    for span, place in zip(spans, places, strict=True):
        radio = record.radio.between(span.start_s, span.end_s)
        if threshold_dbm is None or len(place) < 2 or not len(radio):
            continue
        measured_s = radio.t_s - REPORT_LAG_S
        along_m = np.interp(measured_s, place.t_s, place["along_m"], left=np.nan)
        aside_m = np.interp(measured_s, place.t_s, np.nan_to_num(place["aside_m"]), left=np.nan)
        ends = place["along_m"][~np.isnan(place["along_m"])]
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
        return Reports(*(np.empty(0) for _ in range(5)))
    return Reports(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def law_of(reports: Reports) -> DistanceLaw | None:
    """Return the law that fits the reports; None where they tell too few distances."""
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


def bins_of(reports: Reports, law: DistanceLaw | None) -> tuple[MarginBin, ...]:
    """Return the pieces of the course on which anything was reported, outward ones first."""
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


def directions_db(bins: tuple[MarginBin, ...]) -> float | None:
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
