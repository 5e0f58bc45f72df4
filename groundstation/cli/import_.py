"""`groundstation import FILE`: a log of another logger as a session of our own."""

from __future__ import annotations

import argparse
from math import isfinite
from pathlib import Path

from groundstation.cli.options import add_settings_options, add_vehicle_options, choose

SUMMARY = "turn another logger's CSV, NMEA 0183 or GPX file into a session that replays like ours"
EXAMPLES = (
    ("groundstation import drive.csv", "show the guess, and ask"),
    ("groundstation import drive.csv --write-map drive.toml", "keep the guess to correct it"),
    ("groundstation import drive.csv --map drive.toml", "import as the corrected map says"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("file", type=Path, metavar="FILE", help="the log; its content tells how")
    accept = parser.add_mutually_exclusive_group()
    accept.add_argument("--yes", action="store_true", help="accept the guess without a question")
    accept.add_argument(
        "--map", type=Path, metavar="FILE", help="which column is which channel (TOML); no guess"
    )
    accept.add_argument(
        "--write-map",
        type=Path,
        metavar="FILE",
        help="write the guess, to be edited; import nothing",
    )
    parser.add_argument(
        "--rate", type=rate, metavar="HZ", help="rows a second, where no column is a time"
    )
    parser.add_argument("--name", metavar="TEXT", help="name of the vehicle; else the file's")
    parser.add_argument(
        "--setup", type=Path, metavar="FILE", help="set-up sheet of the car (TOML), kept with it"
    )
    parser.add_argument("--note", metavar="TEXT", help="a note, kept with the session")
    add_vehicle_options(parser)
    add_settings_options(parser)


def rate(text: str) -> float:
    """Return a rate in hertz, above zero."""
    rate_hz = float(text)
    if not (isfinite(rate_hz) and 0 < rate_hz <= 100_000):
        raise ValueError
    return rate_hz


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.importing import import_file

    return import_file(arguments, choose(arguments))
