"""The command line's grammar: one table of commands, each described by its own module."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import Protocol, cast

from groundstation import __version__
from groundstation.cautions import CAUTION
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


class Command(Protocol):
    """What a command's module must have."""

    SUMMARY: str
    EXAMPLES: Sequence[tuple[str, str]]
    """Command lines, and what each does."""
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

    Nothing typed on a terminal means `live`, which asks what shall be watched.

    Raises:
        SystemExit: With code 2 for wrong usage, 0 for `--help` and `--version`.
    """
    typed = list(sys.argv[1:] if argv is None else argv)
    if not typed and sys.stdin.isatty() and sys.stdout.isatty():
        typed = ["live"]
    return build_parser().parse_args(typed)


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="groundstation",
        description="Telemetry ground station for a small radio-controlled car driven fast in a "
        "straight line.",
        epilog=f"Alone, on a terminal, it shows what can be watched. {CAUTION}",
    )
    parser.add_argument("--version", action="version", version=f"groundstation {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, module in COMMANDS.items():
        command = cast("Command", module)
        added = commands.add_parser(
            name,
            help=command.SUMMARY,
            description=command.SUMMARY[0].upper() + command.SUMMARY[1:] + ".",
            epilog=_examples(command.EXAMPLES),
            formatter_class=_Help,
        )
        command.add_arguments(added)
        added.set_defaults(run=command.run)
    return parser


class _Help(argparse.HelpFormatter):
    """Keeps the rows of a text that has any, and fills the others as usual."""

    def _fill_text(self, text: str, width: int, indent: str) -> str:
        if "\n" not in text:
            return super()._fill_text(text, width, indent)
        return "\n".join(f"{indent}{row}" for row in text.splitlines())


def _examples(examples: Sequence[tuple[str, str]]) -> str:
    rows = [row for command, does in examples for row in (f"  {command}", f"      {does}")]
    return "\n".join(["examples:", *rows])
