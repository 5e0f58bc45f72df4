"""Rows of text of an exact width in cells.

Whatever comes from a car, a file or a mark may hold anything: `clean` makes it one harmless run of
printable text, which is never parsed as markup.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import zip_longest

from rich.cells import cell_len, set_cell_size

from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.wording import BOUND, bound, printable

_CLAUSE_END = re.compile(r"[.,;:] | \(")

UNKNOWN = "--"
"""What stands for a value that is not known; never 0."""


@lru_cache(maxsize=512)
def clean(text: str) -> str:
    """Return text that takes the cells it seems to take: printable, nothing zero-width."""
    composed = unicodedata.normalize("NFC", printable(text))
    return "".join(mark for mark in composed if cell_len(mark) > 0)


@lru_cache(maxsize=512)
def fit(text: str, width: int) -> str:
    """Return foreign text cleaned and, where it is too long, cut with an ellipsis."""
    text = clean(text)
    if cell_len(text) <= width:
        return text
    return set_cell_size(text, width - 1) + "…" if width > 0 else ""


@lru_cache(maxsize=512)
def clauses(text: str, width: int) -> str:
    """Return foreign text cut, where it is too long, after the last clause that fits.

    A bracket is kept whole or left out.
    """
    text = clean(text)
    if cell_len(text) <= width:
        return text
    whole = ""
    for end in _CLAUSE_END.finditer(text):
        part = text[: end.start()]
        if cell_len(part) < width and part.count("(") == part.count(")"):
            whole = part
    return f"{whole}…" if whole else fit(text, width)


@lru_cache(maxsize=512)
def wrap(text: str, width: int, rows: int) -> tuple[str, ...]:
    """Return foreign text broken at spaces into at most `rows` rows; what is left is cut.

    A number stays with its unit, a command in one piece.
    """
    words, broken = bound(clean(text)).split(" "), [""]
    while words:
        longer = f"{broken[-1]} {words[0]}".strip()
        if cell_len(longer) <= width:
            broken[-1] = longer
            del words[0]
        elif len(broken) == rows:
            left = " ".join([broken[-1], *words]).replace(BOUND, " ")
            broken[-1] = fit(left.strip(), width)
            break
        elif broken[-1]:
            broken.append("")
        elif BOUND in words[0]:
            words[:1] = words[0].split(BOUND)
        else:
            broken[-1] = fit(words.pop(0), width)
    return tuple(row.replace(BOUND, " ") for row in broken if row)


def line(width: int, *runs: Run, pad: Ink = Ink.TEXT) -> Line:
    """Return runs as one row of `width` cells: cut, or padded with blanks of `pad`."""
    row: list[Run] = []
    left = width
    for text, ink in runs:
        cells = cell_len(text)
        if cells > left:
            text, cells = set_cell_size(text, left), left
        if not cells:
            continue
        left -= cells
        if row and row[-1][1] is ink:
            row[-1] = (row[-1][0] + text, ink)
        else:
            row.append((text, ink))
    if left:
        if row and row[-1][1] is pad:
            row[-1] = (row[-1][0] + " " * left, pad)
        else:
            row.append((" " * left, pad))
    return tuple(row)


def cells(runs: Iterable[Run]) -> int:
    """Return how many cells runs take."""
    return sum(cell_len(text) for text, _ in runs)


def spread(width: int, left: Sequence[Run], right: Sequence[Run], pad: Ink = Ink.TEXT) -> Line:
    """Return one row with something at either end; the right end is kept where both do not fit."""
    room = max(width - cells(right), 0)
    return line(width, *line(room, *left, pad=pad), *right, pad=pad)


def blank(width: int, ink: Ink = Ink.TEXT) -> Line:
    """Return an empty row."""
    return line(width, pad=ink)


def beside(*blocks: tuple[int, Sequence[Line]]) -> list[Line]:
    """Return blocks side by side, each with its width; shorter ones are filled with blank rows."""
    total = sum(width for width, _ in blocks)
    drawn = []
    for rows in zip_longest(*(rows for _, rows in blocks)):
        runs: list[Run] = []
        for row, (width, _) in zip(rows, blocks, strict=True):
            runs += row or blank(width)
        drawn.append(line(total, *runs))
    return drawn


def as_text(rows: Iterable[Line]) -> str:
    """Return rows as plain text without any ink."""
    return "\n".join("".join(text for text, _ in row) for row in rows)


def number(value: float | None, digits: int, unit: str = "") -> str:
    """Return a value with its unit; `--` where it is not known."""
    if value is None:
        return f"{UNKNOWN} {unit}".rstrip()
    shown = f"{value:.{digits}f}"
    if float(shown) == 0.0:
        shown = shown.lstrip("-")
    return f"{shown} {unit}".rstrip()


def named(kind: str, text: str) -> str:
    """Return what happened with its kind before it, unless it says so itself.

    A level is its own name; of a source the state follows, with a colon of its own.
    """
    if kind == "level" or kind in text.split(maxsplit=2)[:2]:
        return text
    return f"{kind} {text}" if kind == "source" else f"{kind}: {text}"


def ago(age_s: float) -> str:
    """Return how old something is, in words short enough for a label."""
    if age_s < 99.95:
        return f"{age_s:.1f} s ago"
    return f"{age_s / 60:.0f} min ago"
