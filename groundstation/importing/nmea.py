"""Satellite receivers' logs after NMEA 0183: GGA, RMC, VTG and GLL sentences of any talker.

Rules: a sentence without its checksum, or with a wrong one, is counted and never used; sentences of
one time of day make one fix; the date is RMC's, and midnight is passed by counting on.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import reduce
from math import nan
from operator import xor
from pathlib import Path

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.importing.assemble import assemble
from groundstation.importing.lines import Progress, no_progress, read_lines
from groundstation.importing.log import ForeignLog, Numbers, usable_times
from protocol import Table

KNOT_MPS = 1852 / 3600

MAX_FIXES = 5_000_000

_SENTENCE = re.compile(r"\$([A-Z0-9]{2})([A-Z]{3}),([^*$]{0,200})\*([0-9A-Fa-f]{2})\s*$")
_ANY = re.compile(r"[$!][A-Z0-9]{3,}")
_TIME = re.compile(r"([01]\d|2[0-3])([0-5]\d)([0-5]\d|60)(\.\d{1,9})?", re.ASCII)
_PLACE = re.compile(r"(\d{1,3})(\d{2}(?:\.\d{1,10})?)", re.ASCII)
_NUMBER = re.compile(r"-?\d{1,9}(\.\d{1,9})?", re.ASCII)

_DAY_S = 86_400.0

_FIX_TYPES = {"0": 0.0, "2": 4.0, "4": 5.0, "5": 5.0}
"""GGA quality to ours; 1 is told by the altitude, and what is no satellite fix is unknown."""


@dataclass(slots=True)
class Fix:
    """What the sentences of one moment say; NaN where none does."""

    day_s: float
    """Time of day, UTC."""
    day: date | None = None
    values: dict[str, float] = field(default_factory=dict)

    def fill(self, **values: float) -> None:
        """Take values that are not known yet."""
        for name, value in values.items():
            if value == value:
                self.values.setdefault(name, value)


def checked_fields(line: str, counts: Counter[str]) -> tuple[str, list[str]] | None:
    """Return a line's sentence formatter and fields; None, and a count, where it is no good one."""
    start = line.rfind("$")
    found = _SENTENCE.match(line[start:]) if start >= 0 else None
    if found is None:
        if _ANY.search(line):
            counts["sentences without a checksum, or cut"] += 1
        elif line.strip():
            counts["lines that are no sentence"] += 1
        return None
    talker, formatter, content, told = found.groups()
    if reduce(xor, f"{talker}{formatter},{content}".encode("utf-8", "replace")) != int(told, 16):
        counts["sentences with a wrong checksum"] += 1
        return None
    return formatter, content.split(",")


def read_fixes(lines: Iterable[str], counts: Counter[str]) -> list[Fix]:
    """Return the fixes of a log, in its order."""
    fixes: list[Fix] = []
    for line in lines:
        sentence = checked_fields(line, counts)
        if sentence is None:
            continue
        formatter, fields = sentence
        if formatter not in _READERS:
            counts["sentences of other kinds"] += 1
            continue
        place_of_time, least = _READERS[formatter]
        if len(fields) < least:
            counts["sentences that are too short"] += 1
            continue
        if place_of_time is not None:
            day_s = _day_seconds(fields[place_of_time])
            if day_s != day_s:
                counts["sentences without a time"] += 1
                continue
            if not fixes or fixes[-1].day_s != day_s:
                if len(fixes) >= MAX_FIXES:
                    raise SessionFileError("the log holds too many fixes", "Cut it into parts")
                fixes.append(Fix(day_s))
        if fixes:
            _take(fixes[-1], formatter, fields)
    return fixes


def nmea_log(
    path: Path, encoding: str, table: Table, progress: Progress = no_progress
) -> ForeignLog:
    """Return the log in a file of sentences.

    Raises:
        SessionFileError: It cannot be read, or holds no fix.
    """
    counts: Counter[str] = Counter()
    fixes = read_fixes(read_lines(path, encoding, counts, progress), counts)
    if not any("latitude_deg" in fix.values for fix in fixes):
        raise SessionFileError(f"{path} holds no fix with a good checksum")
    times_s, first_day = _unrolled(fixes)
    usable = usable_times(times_s, counts)
    kept_s = times_s[usable]
    names = dict.fromkeys(name for fix in fixes for name in fix.values)
    channels = {
        name: np.array([fix.values.get(name, nan) for fix in fixes], np.float64)[usable]
        for name in names
    }
    series, text = assemble(kept_s - kept_s[0], channels, table, counts)
    started = None
    if first_day is not None:
        midnight = datetime(first_day.year, first_day.month, first_day.day, tzinfo=UTC)
        started = midnight + timedelta(seconds=float(kept_s[0]))
    return ForeignLog(series, started, channels_text=text, counts=counts)


def _unrolled(
    fixes: Sequence[Fix],
) -> tuple[Numbers, date | None]:
    """Return the fixes' times since the first day's midnight, and that day where it is told."""
    first_day, first_at = None, 0
    days = np.zeros(len(fixes))
    for number, fix in enumerate(fixes):
        back = number and fix.day_s < fixes[number - 1].day_s - _DAY_S / 2
        days[number] = (days[number - 1] if number else 0) + bool(back)
        if fix.day is not None:
            if first_day is None:
                first_day, first_at = fix.day, int(days[number])
            # What a date says comes before counting; a log may have been put together of several.
            days[number] = first_at + (fix.day - first_day).days
    if first_day is not None:
        first_day -= timedelta(days=first_at)
    return days * _DAY_S + np.array([fix.day_s for fix in fixes]), first_day


def _take(fix: Fix, formatter: str, fields: list[str]) -> None:
    match formatter:
        case "GGA":
            quality, satellites, altitude = fields[5], _number(fields[6]), _number(fields[8])
            known = nan if quality not in ("1", "3") else 3.0 if altitude == altitude else 2.0
            fix.fill(fix_type=_FIX_TYPES.get(quality, known), satellites=satellites)
            if quality not in ("", "0"):
                _fill_place(fix, fields[1:5])
                fix.fill(altitude_m=altitude)
        case "RMC":
            fix.day = _date(fields[8]) or fix.day
            if fields[1] == "A":
                _fill_place(fix, fields[2:6])
                fix.fill(ground_speed_mps=_number(fields[6]) * KNOT_MPS)
                fix.fill(course_deg=_number(fields[7]))
            else:
                fix.fill(fix_type=0.0)
        case "VTG":
            fix.fill(course_deg=_number(fields[0]))
            knots, kmh = _number(fields[4]), _number(fields[6])
            fix.fill(ground_speed_mps=kmh / 3.6 if knots != knots else knots * KNOT_MPS)
        case "GLL":
            if fields[5] == "A":
                _fill_place(fix, fields[0:4])


_READERS: dict[str, tuple[int | None, int]] = {
    "GGA": (0, 9),
    "RMC": (0, 9),
    "VTG": (None, 7),
    "GLL": (4, 6),
}
"""Where each has its time, and how many fields it needs."""


def _fill_place(fix: Fix, fields: Sequence[str]) -> None:
    latitude_deg = _degrees(fields[0], fields[1], "NS", 90.0)
    longitude_deg = _degrees(fields[2], fields[3], "EW", 180.0)
    if latitude_deg == latitude_deg and longitude_deg == longitude_deg:
        fix.fill(latitude_deg=latitude_deg, longitude_deg=longitude_deg)


def _degrees(text: str, letter: str, letters: str, limit_deg: float) -> float:
    """Return `dddmm.mmmm` and its hemisphere as degrees; NaN where it cannot be."""
    found = _PLACE.fullmatch(text)
    if found is None or letter not in letters or not letter:
        return nan
    minutes = float(found.group(2))
    degrees = int(found.group(1)) + minutes / 60
    if minutes >= 60 or degrees > limit_deg:
        return nan
    return -degrees if letter == letters[1] else degrees


def _day_seconds(text: str) -> float:
    found = _TIME.fullmatch(text)
    if found is None:
        return nan
    hours, minutes, seconds, fraction = found.groups()
    return int(hours) * 3600 + int(minutes) * 60 + int(seconds) + float(fraction or 0)


def _number(text: str) -> float:
    return float(text) if _NUMBER.fullmatch(text) else nan


def _date(text: str) -> date | None:
    """Return `ddmmyy`; satellites have told the time since 1980."""
    if not re.fullmatch(r"\d{6}", text, re.ASCII):
        return None
    year = int(text[4:])
    try:
        return date(year + (1900 if year >= 80 else 2000), int(text[2:4]), int(text[:2]))
    except ValueError:
        return None
