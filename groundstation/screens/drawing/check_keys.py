"""Keys of the range check: the row at the foot, and the page that explains them all."""

from __future__ import annotations

from groundstation.cautions import ON_SCREEN
from groundstation.rangecheck.view import Step
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.keys import LAST_KEYS
from groundstation.screens.drawing.text import cells, line

_STEP_KEYS = {
    Step.SENSORS: (("n", "next step"), ("r", "repeat"), ("s", "stand here")),
    Step.FAILSAFE: (("o", "transmitter off / on"), ("n", "next step"), ("r", "repeat")),
    Step.WALK: (
        ("m", "mark"),
        ("f", "mark by fix"),
        ("h", "turned"),
        ("r", "repeat"),
        ("v", "verdict"),
    ),
    Step.VERDICT: (("↑↓", "reasons"), ("r", "repeat a step"), ("w", "walk table")),
}
_REPEATED = (("1", "sensors"), ("2", "failsafe"), ("3", "walk"))
_OTHER_KEYS = (("t", "theme"),)

_HELP = (
    ("n", "go on to the next step"),
    ("o", "I have switched the transmitter off; again: it is on"),
    ("m", "mark: type the distance, the car lies there"),
    ("f", "mark where the car's fix says it is"),
    ("h", "I have turned the car a quarter to the left"),
    ("r", "do a step again; what it measured is forgotten"),
    ("v", "verdict: stop measuring"),
    ("w", "the table of the walk, or the verdict"),
    ("↑↓", "through the reasons of the verdict"),
    ("s", "I stand where the car is"),
    ("t", "dark, or for sunlight"),
    ("escape", "close this page, or the table"),
    ("?", "this page"),
    ("q", "quit; what was measured is kept"),
)


def check_keys_row(step: Step, width: int) -> Line:
    """Return the row at the foot; what does not fit is left out before the last keys."""
    last = [run for key in LAST_KEYS for run in _key(*key)]
    runs: list[Run] = [(" ", Ink.TEXT)]
    for key in (*_STEP_KEYS[step], *_OTHER_KEYS):
        if cells(runs) + cells(_key(*key)) + cells(last) <= width:
            runs += _key(*key)
    return line(width, *runs, *last)


def check_keys_page(width: int, rows: int) -> list[Line]:
    """Return the page that explains every key."""
    drawn = [line(width, (" KEYS", Ink.TITLE), pad=Ink.TITLE)]
    drawn += [line(width, (f"  {key:<8}", Ink.KEY), (does, Ink.TEXT)) for key, does in _HELP]
    if rows > len(drawn) + 1:
        drawn += [line(width), line(width, (f"  {ON_SCREEN}", Ink.FAINT))]
    return (drawn + [line(width)] * rows)[:rows]


def distance_row(typed: str, complaint: str, width: int) -> Line:
    """Return the row in which the distance of a mark is typed."""
    return line(
        width,
        (" mark at ", Ink.LABEL),
        (f"{typed}▏ m", Ink.STRONG),
        (f"  {complaint or 'metres from you; enter marks, escape closes'}", Ink.FAINT),
    )


def repeat_row(width: int) -> Line:
    """Return the row in which a step is chosen to be done again."""
    return line(
        width,
        (" repeat ", Ink.LABEL),
        *(run for key in _REPEATED for run in _key(*key)),
        ("what it measured is forgotten; escape closes", Ink.FAINT),
    )


def _key(key: str, does: str) -> list[Run]:
    return [(key, Ink.KEY), (f" {does}  ", Ink.TEXT)]
