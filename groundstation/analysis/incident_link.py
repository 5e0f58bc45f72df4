"""How both radio links left their normal ranges: margin, packets, failsafe, silence.

Rule: a weak signal that follows the distance is out of the normal only below the margin at which
the driver would have been told to lift; a signal far below what the distance explains is so at any
margin, once enough of the course is known.
"""

from __future__ import annotations

import numpy as np

from groundstation.analysis.course import Course, usable_fixes
from groundstation.analysis.incident_departure import Departure, Stretch, Subject, departure
from groundstation.analysis.incident_end import last_failsafe_s
from groundstation.analysis.incident_normal import MOVING_MPS, speed_at
from groundstation.analysis.incident_onset import excursions
from groundstation.analysis.record import Floats
from groundstation.analysis.robust_line import robust_line, robust_sigma

REPORT_LATE_S = 0.15
"""Age of what a report tells: the receiver's averaging, and its way here (as in the watch)."""
REPORT_CERTAIN_S = 0.06
REPORT_REST_S = 0.6
NEAREST_M = 20.0
"""Closer than this the distance law is not followed, and no link is lost."""
LEAST_REPORTS = 40
BELOW_SIGMAS = 5.0
BELOW_FLOOR_DB = 10.0
"""A fade this far under the distance law is none that shadows explain (common practice, no
source)."""
SPARE_TIMES = 2.0
"""A margin over so many times the required one is no part of an incident."""
RECEIVED_FLOOR_PERCENT = 25.0
"""Packets received may fall by so much without being worth a word."""
SILENT_LEAST_S = 0.3
SILENT_TIMES = 8.0
"""A gap in the telemetry is a silence when it is so many times the longest usual gap."""


def control_departures(stretch: Stretch, course: Course | None) -> list[Departure]:
    """Return when margin, received packets and failsafe left their normal ranges."""
    return [*_margin(stretch, course), *_received(stretch), *_failsafe(stretch)]


def telemetry_departures(stretch: Stretch, *, ended: bool) -> list[Departure]:
    """Return the silences of the last pass; the last one has no end.

    Args:
        stretch: The last pass.
        ended: Nothing was heard after it.
    """
    kinds = [columns.t_s for columns in stretch.record.kinds.values() if len(columns)]
    t_s = np.unique(np.concatenate(kinds))
    gaps_s = np.diff(t_s)
    if not len(gaps_s):
        return []
    usual_s = float(np.quantile(gaps_s, 0.99))
    least_s = max(SILENT_TIMES * usual_s, SILENT_LEAST_S)
    rows = (gaps_s >= least_s) & (t_s[:-1] >= stretch.start_s) & (t_s[:-1] < stretch.end_s)
    found = [
        departure(
            stretch,
            subject=Subject.TELEMETRY,
            quantity="telemetry silent for",
            seen=(float(t_s[row]), float(t_s[row] + usual_s)),
            value=float(gaps_s[row]),
            unit="s",
            normal=(None, usual_s),
        )
        for row in np.flatnonzero(rows)
    ]
    if ended:
        found.append(
            departure(
                stretch,
                subject=Subject.TELEMETRY,
                quantity="last telemetry frame",
                seen=(stretch.end_s, stretch.end_s),
                value=None,
            )
        )
    return found


def distance_at_m(stretch: Stretch, course: Course | None, t_s: Floats) -> Floats:
    """Return the distance from the course's zero at given times; NaN where it is not known."""
    fixes = usable_fixes(stretch.record)
    if course is None or len(fixes) < 2:
        return np.full(len(t_s), np.nan)
    along_m, aside_m = course.along_and_aside_m(fixes["latitude_deg"], fixes["longitude_deg"])
    return np.interp(t_s, fixes.t_s, np.hypot(along_m, aside_m), left=np.nan, right=np.nan)


def _margin(stretch: Stretch, course: Course | None) -> list[Departure]:
    record, radio = stretch.record, stretch.record.radio
    level_dbm, threshold_dbm = radio["control_rssi_dbm"], record.threshold_dbm
    known = np.flatnonzero(~np.isnan(level_dbm))
    if threshold_dbm is None or not len(known):
        return []
    t_s, margin_db = radio.t_s[known], level_dbm[known] - threshold_dbm
    lowest_db = np.full(len(known), record.profile.limits.lift_margin_db)
    law_db = _law_db(stretch, course, t_s, margin_db)
    if law_db is not None:
        # With margin to spare, a drop is for the link's own report, not for an incident's.
        spare_db = SPARE_TIMES * record.profile.limits.required_margin_db
        lowest_db = np.fmax(lowest_db, np.minimum(law_db, spare_db))
    return _low(
        stretch,
        t_s,
        margin_db,
        lowest_db,
        scale=BELOW_FLOOR_DB,
        quantity="control link margin",
        unit="dB",
    )


def _law_db(
    stretch: Stretch, course: Course | None, t_s: Floats, margin_db: Floats
) -> Floats | None:
    """Return the lowest margin that the distance explains; None where too little is known."""
    distance_m = distance_at_m(stretch, course, t_s)
    moved = speed_at(stretch.record, t_s) > MOVING_MPS
    rows = np.flatnonzero((distance_m > NEAREST_M) & moved)
    if len(rows) < LEAST_REPORTS:
        return None
    line = robust_line(np.log10(distance_m[rows]), margin_db[rows])
    if line is None:
        return None
    off_db = margin_db[rows] - line.at(np.log10(distance_m[rows]))
    below_db = max(BELOW_SIGMAS * robust_sigma(off_db), BELOW_FLOOR_DB)
    lowest_db = line.at(np.log10(np.fmax(distance_m, NEAREST_M))) - below_db
    return np.where(distance_m > NEAREST_M, lowest_db, -np.inf)


def _received(stretch: Stretch) -> list[Departure]:
    radio = stretch.record.radio
    percent = radio["control_received_percent"]
    known = np.flatnonzero(~np.isnan(percent))
    if not len(known):
        return []
    t_s, percent = radio.t_s[known], percent[known]
    moved = speed_at(stretch.record, t_s) > MOVING_MPS
    usual = percent[moved] if moved.sum() >= LEAST_REPORTS else percent
    below = max(BELOW_SIGMAS * robust_sigma(usual), RECEIVED_FLOOR_PERCENT)
    lowest = np.full(len(known), max(float(np.median(usual)) - below, 10.0))
    return _low(
        stretch,
        t_s,
        percent,
        lowest,
        scale=RECEIVED_FLOOR_PERCENT,
        quantity="control packets received",
        unit="%",
    )


def _low(
    stretch: Stretch,
    t_s: Floats,
    values: Floats,
    lowest: Floats,
    *,
    scale: float,
    quantity: str,
    unit: str,
) -> list[Departure]:
    rows = np.flatnonzero((t_s >= stretch.start_s) & (t_s <= stretch.end_s))
    if not len(rows):
        return []
    t_s, values, lowest = t_s[rows], values[rows], lowest[rows]
    # A step of 1 dB below the bound shall count, not a tenth of it.
    beyond = np.where(values < lowest, np.maximum((lowest - values) / scale, 0.25), -1.0)
    return [
        departure(
            stretch,
            subject=Subject.CONTROL_LINK,
            quantity=quantity,
            seen=(float(t_s[max(out.first - 1, 0)]), float(t_s[out.first])),
            value=float(np.min(values[out.first : out.last + 1])),
            unit=unit,
            normal=(float(lowest[out.first]), None),
            late_s=REPORT_LATE_S,
        )
        for out in excursions(t_s, beyond, certain_s=REPORT_CERTAIN_S, rest_s=REPORT_REST_S)
    ]


def _failsafe(stretch: Stretch) -> list[Departure]:
    motion = stretch.record.motion.between(stretch.start_s, stretch.end_s)
    active = motion["failsafe_active"]
    known = np.flatnonzero(~np.isnan(active))
    begins = known[1:][(active[known][1:] > 0.5) & (active[known][:-1] < 0.5)]
    if len(known) and active[known[0]] > 0.5:
        begins = np.concatenate([known[:1], begins])
    last_s = last_failsafe_s(stretch.record)
    throttle = motion["throttle_percent"]
    found = []
    for row in begins:
        t_s = float(motion.t_s[row])
        before, after = throttle[max(row - 1, 0)], throttle[row]
        change = f"it set the throttle from {before:.0f} to {after:.0f} %"
        if f"{before:.0f}" == f"{after:.0f}":
            change = f"the throttle stayed at {after:.0f} %"
        stays = "it stayed" if last_s is not None and t_s >= last_s else "it ended again"
        found.append(
            departure(
                stretch,
                subject=Subject.CONTROL_LINK,
                quantity="failsafe",
                seen=(float(motion.t_s[max(row - 1, 0)]), t_s),
                value=None,
                note=stays if np.isnan([before, after]).any() else f"{stays}; {change}",
            )
        )
    return found
