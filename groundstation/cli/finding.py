"""Finds a recording by what the user calls it, and watches it as it was watched."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from groundstation.cli.options import Choices
from groundstation.errors import UsageError
from groundstation.recording.capture import open_tape
from groundstation.recording.names import SUFFIX
from groundstation.recording.reader import SessionFile, Tape
from groundstation.vehicle.profile import VehicleProfile
from protocol import TableError, standard_table


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording, with the table and the profile that it is to be read with."""

    path: Path
    tape: Tape
    choices: Choices


def open_recording(arguments: argparse.Namespace, choices: Choices) -> Recording:
    """Return the recording named by `arguments.session`.

    A session brings the profile and the builder's own kinds that it was recorded with, so that it
    gives the numbers of the day; options on the command line come before them.

    Raises:
        UsageError: No recording is called that, or several are.
        SessionFileError: The file cannot be read.
    """
    path = find_session(arguments.session, choices.sessions)
    tape = open_tape(path, choices.table)
    if isinstance(tape, SessionFile):
        choices = _as_recorded(tape.info.facts, arguments, choices)
    return Recording(path, tape, choices)


def find_session(name: str, folder: Path) -> Path:
    """Return the file of a session: a path, `last`, or a part of its name in the folder.

    Raises:
        UsageError: No recording is called that, or several are.
    """
    given = Path(name).expanduser()
    if given.is_file():
        return given
    sessions = sorted(folder.glob(f"*{SUFFIX}")) if folder.is_dir() else []
    if name == "last" and sessions:
        return max(sessions, key=lambda path: (path.stat().st_mtime_ns, path.name))
    found = [path for path in sessions if name in path.name] if name != "last" else []
    if len(found) == 1:
        return found[0]
    if found:
        names = ", ".join(path.name for path in found[:5])
        raise UsageError(f"{len(found)} sessions are called like {name!r}: {names}")
    raise UsageError(
        f"there is no session {name!r}, neither as a file nor in {folder}",
        "`groundstation sessions` lists them" if sessions else "`groundstation demo` records one",
    )


def _as_recorded(
    facts: Mapping[str, object], arguments: argparse.Namespace, choices: Choices
) -> Choices:
    try:
        profile = msgspec.convert(facts.get("profile", {}), VehicleProfile)
    except msgspec.ValidationError:
        profile = choices.profile
    if arguments.threshold is not None:
        profile = replace(profile, threshold_dbm=arguments.threshold)
    if arguments.vehicle_number is not None:
        profile = replace(profile, number=arguments.vehicle_number)
    table, channels_text = choices.table, facts.get("channels")
    if arguments.channels is None and isinstance(channels_text, str) and channels_text:
        try:
            table = standard_table().extended(channels_text, "channels kept in the session")
        except TableError as error:
            raise UsageError(str(error), "give the channel file with --channels") from error
    return replace(choices, profile=profile, table=table)
