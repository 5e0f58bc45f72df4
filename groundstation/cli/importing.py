"""Reads a foreign log, has the guess confirmed, and records it.

Rules: nothing is guessed silently; a session appears under its name only when it is whole, and no
session that is there is ever written over.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import msgspec

from groundstation import __version__
from groundstation.cli.options import Choices
from groundstation.cli.progress import progress, told_now_and_then
from groundstation.cli.recording import record_through
from groundstation.cli.showing_guess import confirm, show_guess
from groundstation.cli.watching import session_facts
from groundstation.errors import GroundstationError, SessionFileError, UsageError
from groundstation.importing.column_map import ColumnMap, load_map, map_text
from groundstation.importing.csv_log import csv_log, guess_csv, read_mapped
from groundstation.importing.formats import LogFormat, format_of
from groundstation.importing.frames import inbound_of
from groundstation.importing.gpx import gpx_log
from groundstation.importing.guess import Guess
from groundstation.importing.lines import checked_size, encoding_of
from groundstation.importing.log import MAX_SPAN_S, ForeignLog
from groundstation.importing.nmea import nmea_log
from groundstation.recording import names
from groundstation.recording.info import NOTES
from groundstation.recording.writer import Recorder
from groundstation.wording import clock_text, printable
from protocol import TableError

INVENTED_VEHICLE = 1


@dataclass(frozen=True, slots=True)
class Imported:
    """A log that is ready to be recorded."""

    log: ForeignLog
    log_format: LogFormat
    column_map: ColumnMap | None = None
    guessed: Guess | None = None
    """None where the user's own map was read, or the format needs none."""


def import_file(arguments: argparse.Namespace, choices: Choices) -> int:
    """Import one file; return the exit code.

    Raises:
        GroundstationError: It cannot be read or recorded, or was not confirmed.
    """
    path: Path = arguments.file.expanduser()
    if not path.exists():
        raise UsageError(f"there is no file {printable(str(path))}")
    try:
        imported = _read(path, arguments, choices)
        if imported is None:
            return 0
        session = _record(path, imported, arguments, choices)
    except KeyboardInterrupt:
        raise GroundstationError("interrupted, nothing was imported") from None
    log = imported.log
    print(f"{session}  {clock_text(log.end_at_s)}, {log.rows} frames")
    for what, count in log.counts.items():
        if count:
            print(f"  {count} {what}")
    return 0


def _read(path: Path, arguments: argparse.Namespace, choices: Choices) -> Imported | None:
    """Return the log; None where only a map was to be written."""
    log_format = format_of(path)
    if log_format is not LogFormat.CSV:
        if arguments.map or arguments.write_map or arguments.rate:
            raise UsageError(f"{log_format.value.upper()} needs no map and no rate")
        with progress("reading", checked_size(path)) as done:
            if log_format is LogFormat.GPX:
                return Imported(gpx_log(path, choices.table, done), log_format)
            log = nmea_log(path, encoding_of(path), choices.table, done)
            return Imported(log, log_format)
    if arguments.map:
        column_map = load_map(arguments.map.expanduser(), choices.table)
        with progress("reading", checked_size(path)) as done:
            columns = read_mapped(path, column_map, done)
        return Imported(csv_log(columns, column_map, choices.table), log_format, column_map)
    with progress("reading", checked_size(path)) as done:
        guess, columns = guess_csv(path, choices.table, rate_hz=arguments.rate, progress=done)
    show_guess(guess)
    if arguments.write_map:
        _write_map(arguments.write_map.expanduser(), guess)
        return None
    if not arguments.yes:
        confirm(path)
    return Imported(csv_log(columns, guess.map, choices.table), log_format, guess.map, guess)


def _write_map(out: Path, guess: Guess) -> None:
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(map_text(guess.map))
    except FileExistsError as error:
        raise UsageError(f"{out} is there already", "give another name") from error
    except OSError as error:
        raise SessionFileError(f"cannot write {out}: {error.strerror}") from error
    print(f"{out}  edit it, then import with --map")


def _record(
    path: Path, imported: Imported, arguments: argparse.Namespace, choices: Choices
) -> Path:
    """Record the log as a live session would have been; return its file."""
    log = imported.log
    try:
        table = (
            choices.table.extended(log.channels_text, "imported channels")
            if log.channels_text
            else choices.table
        )
    except TableError as error:
        raise SessionFileError(str(error)) from error
    choices = replace(
        choices, table=table, channels_text=f"{choices.channels_text}\n{log.channels_text}".strip()
    )
    started, dated = log.started, log.started is not None
    if started is None:
        # The best that is known of a log without dates: its file was written when it ended.
        started = datetime.fromtimestamp(_changed_s(path) - log.end_at_s, UTC)
    file_name = printable(path.name)
    facts = session_facts(arguments, choices, f"import:{file_name}")
    facts["imported"] = _described(file_name, imported, dated=dated)
    facts[NOTES] = [
        *([arguments.note] if arguments.note else []),
        f"imported from {file_name}, {imported.log_format.value}",
    ]
    inbounds = inbound_of(
        log,
        table,
        vehicle=INVENTED_VEHICLE if choices.profile.number is None else choices.profile.number,
        vehicle_name=arguments.name or path.stem,
        source=f"imported from {file_name}",
    )
    try:
        choices.sessions.mkdir(parents=True, exist_ok=True)
        with TemporaryDirectory(dir=choices.sessions, prefix=".import-") as folder:
            recorder = Recorder(
                Path(folder),
                facts=facts,
                started=started.astimezone(),
                software_version=__version__,
            )
            with recorder, progress("recording", log.rows) as done:
                record_through(
                    told_now_and_then(inbounds, lambda number, _: done(number)),
                    recorder,
                    choices,
                    end_at_s=log.end_at_s,
                    last_at_s=log.end_at_s,
                )
            if recorder.trouble or recorder.lost_bytes or recorder.path is None:
                raise SessionFileError(f"cannot write the session: {recorder.trouble}")
            claimed = names.claim(choices.sessions, recorder.path.stem)
            os.replace(recorder.path, claimed)
            return claimed
    except OSError as error:
        reason = error.strerror or str(error)
        raise SessionFileError(f"cannot write to {choices.sessions}: {reason}") from error


def _changed_s(path: Path) -> float:
    """Return when a file was last written, seconds since 1970.

    Raises:
        SessionFileError: It is not there any more.
    """
    try:
        return max(path.stat().st_mtime, MAX_SPAN_S)
    except OSError as error:
        raise SessionFileError(f"cannot read {path}: {error.strerror}") from error


def _described(file_name: str, imported: Imported, *, dated: bool) -> Mapping[str, object]:
    """Return what the session says about where it came from."""
    guess = imported.guessed
    return {
        "file": file_name,
        "format": imported.log_format.value,
        "map": None if imported.column_map is None else msgspec.to_builtins(imported.column_map),
        "guessed": None
        if guess is None
        else {
            "time": guess.time.why,
            "columns": {each.name: each.why for each in guess.columns},
            "notes": list(guess.notes),
        },
        "started_from": "log" if dated else "file date",
        "counts": dict(imported.log.counts),
    }
