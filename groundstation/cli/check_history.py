"""The checks that a vehicle has had: a list, and the level at one equal distance over time.

The level is that of each check's own fit, so that checks with different marks can be compared; it
is taken where all of them measured.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from math import log10, sqrt
from pathlib import Path
from shutil import get_terminal_size

from groundstation.cli.options import Choices
from groundstation.errors import UsageError
from groundstation.radio.estimate import LinkPrior
from groundstation.rangecheck.record import CheckRecord, Verdict
from groundstation.recording.checks import checks_folder, list_checks
from groundstation.wording import filled, printable

TWO_SIDED = 1.96
"""Standard deviations to either side that hold 95 % of a normal distribution."""

_LEAST_SPAN_DB = 10.0
"""A plot never spans less, so that noise does not look like a change."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One check of the list."""

    path: Path
    record: CheckRecord | None
    problem: str
    level_dbm: float | None = None
    sigma_db: float | None = None


def show_history(vehicle: str, choices: Choices, *, as_json: bool) -> int:
    """Print the checks of a vehicle; return the exit code.

    Raises:
        UsageError: There are none.
    """
    folder = checks_folder(choices.sessions)
    stored = list(reversed(list_checks(folder, vehicle)))
    if not stored:
        names = {each.record.bound.vehicle_name for each in list_checks(folder) if each.record}
        known = ", ".join(printable(name) for name in sorted(names))
        hint = f"there are checks of {known}" if known else "`groundstation check` makes one"
        raise UsageError(f"there are no range checks of {printable(vehicle)!r}", hint)
    distance_m = equal_distance_m([each.record for each in stored if each.record])
    entries = [
        Entry(each.path, each.record, each.problem or "", *_level(each.record, distance_m))
        for each in stored
    ]
    if as_json:
        print(json.dumps(_as_json(vehicle, distance_m, entries), allow_nan=False))
    else:
        for row in history_rows(vehicle, distance_m, entries, width=get_terminal_size().columns):
            print(row)
    return 0


def equal_distance_m(records: Sequence[CheckRecord]) -> float | None:
    """Return a distance at which all checks measured, the middle of it by ratio.

    Where they have none in common, it is the middle of what any of them covers; None without any.
    """
    spans = [
        (min(marks), max(marks))
        for record in records
        if record.prior and (marks := [hold.distance_m for hold in record.holds if hold.distance_m])
    ]
    if not spans:
        return None
    low_m, high_m = max(low for low, _ in spans), min(high for _, high in spans)
    if low_m > high_m:
        low_m, high_m = min(low for low, _ in spans), max(high for _, high in spans)
    return sqrt(low_m * high_m)


def level_at(prior: LinkPrior, distance_m: float) -> tuple[float, float]:
    """Return the level of a check's fit at a distance, and its standard deviation."""
    slope = -10.0 * log10(distance_m)
    variance = (
        prior.level_variance_db2
        + slope * slope * prior.exponent_variance
        + 2.0 * slope * prior.covariance_db
    )
    return prior.level_at_1m_dbm + slope * prior.exponent, sqrt(max(variance, 0.0))


def history_rows(
    vehicle: str, distance_m: float | None, entries: Sequence[Entry], *, width: int
) -> list[str]:
    """Return the list as rows of text, oldest first, each with its place on one scale of level."""
    where = "" if distance_m is None else f", level at {distance_m:.0f} m with its 95 % interval"
    head = f"{'checked':<17}{'verdict':<9}{'level':>10}  "
    room = max(width - len(head) - 2, 20)
    scale = _scale(entries)
    rows = [f"range checks of {printable(vehicle)}{where}"]
    rows.append(head + (_axis(*scale, room) if scale else ""))
    for entry in entries:
        if entry.record is None:
            rows.append(printable(f"{entry.path.name}: {entry.problem}")[:width])
            continue
        record, level = entry.record, entry.level_dbm
        level_text = "--" if level is None else f"{level:.1f} dBm"
        date = f"{record.checked:%Y-%m-%d %H:%M}"
        row = f"{date:<17}{record.verdict:<9}{level_text:>10}  "
        if scale and level is not None:
            row += _dot(entry, *scale, room)
        rows.append(row.rstrip())
        for finding in record.reasons[:1]:
            more = f" (and {len(record.reasons) - 1} more)" if len(record.reasons) > 1 else ""
            under = " " * 17
            rows += filled(printable(f"{finding.text}{more}"), width, first=under, then=under)
    return rows


def _level(
    record: CheckRecord | None, distance_m: float | None
) -> tuple[float, float] | tuple[None, None]:
    if record is None or record.prior is None or distance_m is None:
        return None, None
    return level_at(record.prior, distance_m)


def _scale(entries: Sequence[Entry]) -> tuple[float, float] | None:
    ends = [
        entry.level_dbm + sign * TWO_SIDED * (entry.sigma_db or 0.0)
        for entry in entries
        if entry.level_dbm is not None
        for sign in (-1.0, 1.0)
    ]
    if not ends:
        return None
    low_dbm, high_dbm = min(ends), max(ends)
    wider_db = max(_LEAST_SPAN_DB - (high_dbm - low_dbm), 0.0) / 2.0
    return low_dbm - wider_db, high_dbm + wider_db


def _axis(low_dbm: float, high_dbm: float, room: int) -> str:
    left, right = f"{low_dbm:.0f} dBm", f"{high_dbm:.0f} dBm"
    return left + "·" * max(room - len(left) - len(right), 1) + right


def _dot(entry: Entry, low_dbm: float, high_dbm: float, room: int) -> str:
    level_dbm, wide_db = entry.level_dbm or 0.0, TWO_SIDED * (entry.sigma_db or 0.0)

    def cell(dbm: float) -> int:
        return min(max(round((dbm - low_dbm) / (high_dbm - low_dbm) * (room - 1)), 0), room - 1)

    first, last = cell(level_dbm - wide_db), cell(level_dbm + wide_db)
    marks = [" "] * room
    marks[first : last + 1] = "─" * (last - first + 1)
    if last > first:
        marks[first], marks[last] = "├", "┤"
    is_go = entry.record is not None and entry.record.verdict is Verdict.GO
    marks[cell(level_dbm)] = "●" if is_go else "✗"
    return "".join(marks)


def _as_json(vehicle: str, distance_m: float | None, entries: Sequence[Entry]) -> dict[str, object]:
    return {
        "vehicle": vehicle,
        "distance_m": None if distance_m is None else round(distance_m, 2),
        "checks": [_entry_as_json(entry) for entry in entries],
    }


def _entry_as_json(entry: Entry) -> dict[str, object]:
    told: dict[str, object] = {"file": str(entry.path), "problem": entry.problem or None}
    record = entry.record
    if record is None:
        return told
    return told | {
        "checked": record.checked.isoformat(),
        "verdict": record.verdict,
        "level_dbm": _rounded(entry.level_dbm),
        "level_sigma_db": _rounded(entry.sigma_db),
        "place": record.bound.place,
        "pack": record.bound.pack,
        "figures": dict(record.figures),
        "reasons": [finding.text for finding in record.reasons],
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
