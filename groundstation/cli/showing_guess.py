"""Shows what a foreign table is taken for, and asks whether that is right."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from groundstation.errors import UsageError
from groundstation.importing.guess import Guess
from groundstation.wording import printable

if TYPE_CHECKING:
    from rich.text import Text

PLAIN_WIDTH = 80
"""Where there is no terminal to measure."""


def show_guess(guess: Guess) -> None:
    """Print the guess as a table: each column, what it is taken for, and why."""
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    console = Console(width=None if sys.stdout.isatty() else PLAIN_WIDTH)
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("column", max_width=22, overflow="fold")
    table.add_column("channel", min_width=12, max_width=24, overflow="fold")
    table.add_column("unit", max_width=11, overflow="fold")
    table.add_column("sign", no_wrap=True)
    table.add_column("why", min_width=18, overflow="fold")
    time = guess.time.column
    when = time.column or "(no column)"
    unit = f"{time.rate_hz:g} Hz" if time.rate_hz else time.unit
    table.add_row(*_texts(when, "time", unit, "", guess.time.why))
    for each in guess.columns:
        if each.channel is None:
            table.add_row(*_texts(each.name, "-", "", "", f"left out: {each.why}"))
        else:
            sign = "turned" if each.sign < 0 else ""
            table.add_row(*_texts(each.name, each.channel, each.unit, sign, each.why))
    console.print(table)
    for note in guess.notes:
        console.print(Text(printable(f"note: {note}")))


def confirm(path: Path) -> None:
    """Ask whether the guess is right.

    Raises:
        UsageError: There is nobody to ask, or the answer is no.
    """
    hint = "--yes accepts it; --write-map FILE.toml writes it to be edited, --map reads it"
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(f"the guess for {printable(path.name)} is not confirmed", hint)
    from rich.console import Console
    from rich.prompt import Confirm

    try:
        accepted = Confirm.ask("Import it so?", console=Console(), default=False)
    except EOFError:
        accepted = False
    if not accepted:
        raise UsageError("nothing was imported", hint)


def _texts(*cells: str) -> tuple[Text, ...]:
    from rich.text import Text

    return tuple(Text(printable(cell)) for cell in cells)
