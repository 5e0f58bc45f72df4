"""`groundstation sessions`: what has been recorded."""

from __future__ import annotations

import argparse
import json

from groundstation.cli.options import add_settings_options, choose
from groundstation.units import SpeedUnit

SUMMARY = "list the recorded sessions"
EXAMPLES = (
    ("groundstation sessions", "oldest first"),
    ("groundstation sessions --units mph", "speeds in mph"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--units", type=SpeedUnit, choices=list(SpeedUnit), help="unit of speed")
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.listing import list_figures, print_table

    choices = choose(arguments)
    figures = list_figures(choices.sessions)
    if arguments.json:
        print(json.dumps({"folder": str(choices.sessions), "sessions": figures}, allow_nan=False))
    else:
        print_table(figures, choices.sessions, choices.unit)
    return 0
