"""Range checks on disk: one JSON file a check, dated and named after the vehicle.

Rules: a file is there whole or not at all, and no name is used twice; what is read comes from
outside, so a file that is no check of ours is told of and never followed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import msgspec

from groundstation.errors import SessionFileError
from groundstation.rangecheck.record import CheckRecord
from groundstation.rangecheck.setting import HEADINGS_DEG
from groundstation.recording.names import claim, started_text, vehicle_text
from groundstation.whole_file import written_whole
from groundstation.wording import printable

FOLDER = "checks"
SUFFIX = ".check.json"
VERSION = 1

MOST_BYTES = 1 << 20
"""No check of ours comes near."""
MOST_HOLDS = 2000
MOST_M = 1e5
MOST_DB = 400.0
"""Of any level, either way."""


_IMPOSSIBLE_CONTENT = (msgspec.MsgspecError, ValueError, TypeError, RecursionError, OverflowError)


@dataclass(frozen=True, slots=True)
class StoredCheck:
    """One file of the folder."""

    path: Path
    record: CheckRecord | None
    """None where it cannot be read."""
    problem: str = ""
    """Why not, in plain words."""


def checks_folder(sessions_folder: Path) -> Path:
    """Return where the checks are kept: beside the sessions."""
    return sessions_folder / FOLDER


def record_as_json(record: CheckRecord) -> dict[str, object]:
    """Return a check as plain values that JSON can hold."""
    plain = msgspec.json.decode(msgspec.json.encode(record))
    assert isinstance(plain, dict)
    return {"version": VERSION, **plain}


def save_check(folder: Path, record: CheckRecord, replaces: Path | None = None) -> Path:
    """Write a check to a file of its own, and return its path.

    Args:
        folder: Made where it is missing.
        record: The check.
        replaces: An earlier state of the same check: its file is replaced at one stroke.

    Raises:
        SessionFileError: The file cannot be written.
    """
    stem = f"{started_text(record.checked)}-{vehicle_text(record.bound.vehicle_name)}"
    text = msgspec.json.format(msgspec.json.encode(record_as_json(record)), indent=2)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path = replaces or claim(folder, stem, SUFFIX)
        _write(path, text, claimed=replaces is None)
    except OSError as error:
        reason = error.strerror or "the system refuses"
        raise SessionFileError(
            f"cannot keep the range check in {folder}: {reason}", "Look at the folder and the disk"
        ) from error
    return path


def load_check(path: Path) -> CheckRecord:
    """Return the check in a file; its texts are free of control characters.

    Raises:
        SessionFileError: It cannot be read, or is no check of ours.
    """
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or "the system refuses"
        raise SessionFileError(f"cannot read the range check {path}: {reason}") from error
    if len(data) > MOST_BYTES:
        raise SessionFileError(f"{path} is too large for a range check")
    try:
        plain = msgspec.json.decode(data)
        if not isinstance(plain, dict) or plain.get("version") != VERSION:
            raise SessionFileError(f"{path} is no range check, or of a newer version")
        record = msgspec.convert(_printable(plain), CheckRecord)
    except _IMPOSSIBLE_CONTENT as error:
        raise SessionFileError(f"{path} is no range check, or damaged") from error
    problem = _impossible(record)
    if problem:
        raise SessionFileError(f"{path} is damaged: {problem}")
    return record


def list_checks(folder: Path, vehicle_name: str | None = None) -> list[StoredCheck]:
    """Return the checks of a folder, newest first; those that cannot be read are last.

    Args:
        folder: May be missing.
        vehicle_name: Only this vehicle's; None for all, files that cannot be read included.

    Raises:
        SessionFileError: The folder cannot be read.
    """
    try:
        paths = sorted(folder.glob(f"*{SUFFIX}")) if folder.is_dir() else []
    except OSError as error:
        raise SessionFileError(f"cannot read the folder {folder}: {error.strerror}") from error
    checks = [_stored(path) for path in paths]
    if vehicle_name is not None:
        checks = [
            check
            for check in checks
            if check.record is not None and check.record.bound.vehicle_name == vehicle_name
        ]
    return sorted(checks, key=_moment, reverse=True)


def earlier_checks(folder: Path, vehicle_name: str) -> list[CheckRecord]:
    """Return a vehicle's readable checks, oldest first.

    Raises:
        SessionFileError: The folder cannot be read.
    """
    found = list_checks(folder, vehicle_name)
    return [check.record for check in reversed(found) if check.record is not None]


def _write(path: Path, text: bytes, *, claimed: bool) -> None:
    """Replace a file by its content at one stroke; on trouble a claimed one is given back."""
    try:
        with written_whole(path) as part:
            part.write_bytes(text)
    except OSError:
        if claimed:
            path.unlink(missing_ok=True)
        raise


def _stored(path: Path) -> StoredCheck:
    try:
        return StoredCheck(path, load_check(path))
    except SessionFileError as error:
        return StoredCheck(path, None, printable(str(error)))


def _moment(check: StoredCheck) -> tuple[float, str]:
    if check.record is None:
        return float("-inf"), check.path.name
    return check.record.checked.timestamp(), check.path.name


def _printable(value: object) -> object:
    """Return JSON values with every text in them, keys too, made printable."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, list):
        return [_printable(each) for each in value]
    if isinstance(value, dict):
        return {printable(key): _printable(each) for key, each in value.items()}
    return value


def _impossible(record: CheckRecord) -> str:
    """Return what cannot be in a check, so that nothing that reckons with it stumbles."""
    if record.checked.tzinfo is None:
        return "its date has no offset"
    if len(record.holds) > MOST_HOLDS:
        return "too many holds"
    for hold in record.holds:
        if not 0.0 < hold.distance_m <= MOST_M or hold.heading_deg not in HEADINGS_DEG:
            return "a hold at an impossible place"
        if any(abs(each) > MOST_DB for each in (hold.level_dbm or 0.0, hold.spread_db)):
            return "a hold with an impossible level"
    return _impossible_prior(record)


def _impossible_prior(record: CheckRecord) -> str:
    prior = record.prior
    if prior is None:
        return ""
    numbers: Iterator[float] = (getattr(prior, name) for name in prior.__slots__)
    if not all(isfinite(number) and abs(number) < 1e6 for number in numbers):
        return "an impossible fit"
    if prior.level_variance_db2 <= 0.0 or prior.exponent_variance <= 0.0 or prior.reach_m <= 0.0:
        return "an impossible fit"
    if prior.covariance_db**2 > prior.level_variance_db2 * prior.exponent_variance:
        return "an impossible fit"
    return ""
