"""`groundstation completion SHELL`: what makes the Tab key complete this program's commands."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

SUMMARY = "print what a shell needs to complete commands and options with Tab"
EXAMPLES = (
    ("groundstation completion bash >> ~/.bash_completion", "from the next shell on"),
    ("groundstation completion zsh > ~/.zfunc/_groundstation", "where ~/.zfunc is in fpath"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("shell", choices=["bash", "zsh", "tcsh"])


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    import shtab

    from groundstation.cli.parser import build_parser

    parser = build_parser()
    for action in _actions(parser):
        if action.type is Path:
            kind = shtab.DIRECTORY if action.metavar == "FOLDER" else shtab.FILE
            action.complete = kind  # type: ignore[attr-defined]
    print(shtab.complete(parser, shell=arguments.shell))
    return 0


def _actions(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for command in action.choices.values():
                yield from _actions(command)
        else:
            yield action
