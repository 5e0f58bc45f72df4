"""`groundstation export SESSION`: a session's columns and its track for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path

from groundstation.cli.finding import Recording, open_recording
from groundstation.cli.options import add_settings_options, add_vehicle_options, choose
from groundstation.recording.reader import SessionFile

SUMMARY = "write a session's channels as CSV or Parquet, a file a kind, or its track as GPX"
EXAMPLES = (
    ("groundstation export last --out ~/analysis", "as CSV, a file a kind"),
    ("groundstation export last --format parquet", "for pandas and the like"),
    ("groundstation export last --format gpx", "the track, with the marks as waypoints"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "session", help="a session file, a raw capture, part of a session's name, or `last`"
    )
    parser.add_argument(
        "--format",
        choices=["csv", "parquet", "gpx"],
        default="csv",
        help="default csv; gpx is the track, with the marks as waypoints",
    )
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="FOLDER", help="default: the current folder"
    )
    parser.add_argument("--force", action="store_true", help="write over files that are there")
    add_vehicle_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.exporting.tables import export_kinds

    recording = open_recording(arguments, choose(arguments))
    if arguments.format == "gpx":
        return _export_track(recording, arguments)
    written = export_kinds(
        recording.tape,
        recording.choices.table,
        folder=arguments.out.expanduser(),
        stem=recording.path.stem,
        file_format=arguments.format,
        vehicle=recording.choices.profile.number,
        overwrite=arguments.force,
    )
    for path, rows in written:
        print(f"{path}  {rows} rows")
    return 0


def _export_track(recording: Recording, arguments: argparse.Namespace) -> int:
    from groundstation.exporting.gpx import export_gpx

    tape = recording.tape
    started = tape.info.started if isinstance(tape, SessionFile) else None
    path, points = export_gpx(
        tape,
        recording.choices.table,
        folder=arguments.out.expanduser(),
        stem=recording.path.stem,
        started=started,
        vehicle=recording.choices.profile.number,
        overwrite=arguments.force,
    )
    print(f"{path}  {points} points")
    if started is None:
        print("  a capture has no date: its times count from 1970")
    return 0
