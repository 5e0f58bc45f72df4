"""A comparison of set-ups as its user reads it: a table a change, with a picture of each effect."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from groundstation.analysis.compare import ChangeEffects, Comparison
from groundstation.analysis.compare_effect import Effect, Verdict
from groundstation.analysis.compare_trial import Unit
from groundstation.report.words import UNKNOWN, Telling, number
from groundstation.units import SpeedUnit
from groundstation.wording import filled, printable

if TYPE_CHECKING:
    from rich.table import Table

PICTURE_CELLS = 17
"""Odd, so that no difference has a cell of its own in the middle; the table fits 80 columns."""

_ZERO, _SPAN, _MEAN, _OPEN_LEFT, _OPEN_RIGHT = "│", "─", "●", "◂", "▸"

NO_SHEETS = (
    "None of these sessions has a set-up sheet, so there is nothing to compare them by. "
    "`live --setup FILE` keeps one with a session, `check --setup FILE` too."
)


def print_comparison(comparison: Comparison, tellings: Sequence[Telling]) -> None:
    """Print the comparison."""
    from rich.console import Console
    from rich.text import Text

    console = Console()
    width = min(max(console.width, 80), 100)

    def say(text: str, style: str = "") -> None:
        console.print(Text(printable(text), style=style), soft_wrap=True)

    for telling in tellings:
        count = len(telling.analysis.passes)
        bare = "" if telling.sheet.setup else ", no set-up sheet"
        say(f"{telling.sheet.file}: {count} pass{'' if count == 1 else 'es'}{bare}")
    say("")
    if not any(telling.sheet.setup for telling in tellings):
        for line in filled(NO_SHEETS, width):
            say(line)
        return
    unit = tellings[0].unit
    for change in comparison.changes:
        say(change.words, "bold")
        console.print(_table(change, unit), soft_wrap=True)
        few = too_few_words(change)
        for warning in [*([few] if few else []), *change.warnings]:
            for line in filled(warning, width, first="! ", then="  "):
                say(line)
        say("")
    for line in filled(f"{comparison.words[0].upper()}{comparison.words[1:]}.", width):
        say(line)
    if comparison.changes:
        say(f"{_MEAN} difference, {_SPAN * 3} its 95 % interval, {_ZERO} no difference", "dim")


def _table(change: ChangeEffects, unit: SpeedUnit) -> Table:
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("figure", no_wrap=True)
    for heading in ("before", "after"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("difference", justify="center", no_wrap=True)
    table.add_column("p", justify="right", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    for effect in change.effects:
        table.add_row(*row(effect, unit))
    return table


def row(effect: Effect, unit: SpeedUnit) -> list[str]:
    """Return the cells of an effect."""
    scale, shown_unit = (unit.per_mps, str(unit)) if effect.unit == "m/s" else (1.0, effect.unit)
    p = effect.p_corrected
    # A ratio is no more than one: as many digits as the report gives it.
    digits = 1 if shown_unit else 2
    return [
        f"{effect.figure} {shown_unit}".rstrip(),
        *(
            number(None if mean is None else scale * mean, digits)
            for mean in (effect.mean_before, effect.mean_after)
        ),
        picture(effect),
        UNKNOWN if p is None else "< 0.001" if p < 0.001 else f"{p:.3f}",
        str(effect.verdict) if effect.verdict is not Verdict.CANNOT_TELL else "may be luck",
    ]


def too_few_words(change: ChangeEffects) -> str | None:
    """Return what so few runs can show at best; None where they are enough."""
    few = [each for each in change.effects if each.verdict is Verdict.TOO_FEW and each.least_p]
    if not few:
        return None
    best = min(few, key=lambda each: each.least_p or 1.0)
    before, after = best.passes_before, best.passes_after
    if best.permuted is Unit.SESSIONS:
        before, after = best.sessions_before, best.sessions_after
    return (
        f"{before} and {after} {best.permuted} can give no p under {best.least_p:.2f}, however "
        "large the difference: drive more of each"
    )


def picture(effect: Effect) -> str:
    """Return a difference and its interval around no difference, told apart by shape."""
    if effect.difference is None:
        return ""
    known = [abs(each) for each in (effect.difference, effect.low, effect.high) if each is not None]
    reach = max(known) or 1.0
    middle = PICTURE_CELLS // 2

    def cell(value: float) -> int:
        return middle + round(value / reach * (middle - 1))

    cells = [" "] * PICTURE_CELLS
    low = 0 if effect.low is None else cell(effect.low)
    high = PICTURE_CELLS - 1 if effect.high is None else cell(effect.high)
    if effect.low is not None or effect.high is not None:
        for place in range(low, high + 1):
            cells[place] = _SPAN
        if effect.low is None:
            cells[0] = _OPEN_LEFT
        if effect.high is None:
            cells[-1] = _OPEN_RIGHT
    cells[middle] = _ZERO
    cells[cell(effect.difference)] = _MEAN
    return "".join(cells)
