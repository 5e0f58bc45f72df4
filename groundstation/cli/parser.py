"""The command line's grammar: one table of commands, each described by its own module."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Sequence
from typing import Protocol, cast

from groundstation import __version__
from groundstation.cli import (
    check,
    compare,
    completion,
    demo,
    doctor,
    export,
    import_,
    live,
    plan,
    replay,
    report,
    sessions,
    simulate,
    sources,
)

CAUTION = (
    "Advice only, no safety device: the transmitter's own alarms and the failsafe come first. "
    "Closed course, nobody in line with it; when in doubt, do not run."
)


class Command(Protocol):
    """What a command's module must have."""

    SUMMARY: str
    EXAMPLE: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]


COMMANDS = {
    "live": live,
    "demo": demo,
    "check": check,
    "plan": plan,
    "replay": replay,
    "sessions": sessions,
    "report": report,
    "compare": compare,
    "export": export,
    "import": import_,
    "sources": sources,
    "simulate": simulate,
    "doctor": doctor,
    "completion": completion,
}


def parse(argv: Sequence[str] | None = None) -> argparse.Namespace:
    """Return the parsed arguments; `.run` is the command's function.

    Raises:
        SystemExit: With code 2 for wrong usage, 0 for `--help` and `--version`.
    """
    return build_parser().parse_args(argv)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="groundstation",
        description="Telemetry ground station for a small radio-controlled car driven fast in a "
        "straight line.",
        epilog=CAUTION,
    )
    parser.add_argument("--version", action="version", version=f"groundstation {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, module in COMMANDS.items():
        command = cast("Command", module)
        added = commands.add_parser(
            name,
            help=command.SUMMARY,
            description=command.SUMMARY[0].upper() + command.SUMMARY[1:] + ".",
            epilog=f"example: {command.EXAMPLE}",
        )
        command.add_arguments(added)
        added.set_defaults(run=command.run)
    return parser
