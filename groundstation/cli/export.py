"""`groundstation export SESSION`: a session's columns for other programs."""

from __future__ import annotations

import argparse
from pathlib import Path

from groundstation.cli.finding import open_recording
from groundstation.cli.options import add_settings_options, add_vehicle_options, choose

SUMMARY = "write a session's channels as CSV or Parquet, one file a kind of frame"
EXAMPLE = "groundstation export last --format parquet --out ~/analysis"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "session", help="a session file, a raw capture, part of a session's name, or `last`"
    )
    parser.add_argument("--format", choices=["csv", "parquet"], default="csv", help="default csv")
    parser.add_argument(
        "--out", type=Path, default=Path(), metavar="FOLDER", help="default: the current folder"
    )
    parser.add_argument("--force", action="store_true", help="write over files that are there")
    add_vehicle_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.exporting import export_kinds

    recording = open_recording(arguments, choose(arguments))
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
