"""Keys: the row at the foot, and the page that explains them all."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.cautions import ON_SCREEN
from groundstation.desk import ReplayState
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import beside, cells, line

LIVE_KEYS = (
    ("m", "mark"),
    ("s", "stand here"),
    ("d", "distance"),
    ("b", "big"),
    ("u", "units"),
    ("c", "channels"),
    ("t", "theme"),
)
REPLAY_KEYS = (
    ("←→", "5 s"), (", .", "step"), ("[ ]", "speed"), ("n p", "marks"),
    ("g", "go to"),
)  # fmt: skip
LAST_KEYS = (("?", "keys"), ("q", "quit"))

_LIVE_HELP = (
    ("m", "mark this moment"),
    ("s", "I stand where the car is"),
)
_REPLAY_HELP = (
    ("space", "pause, go on, again"),
    ("←→", "5 s back, forward"),
    (", .", "one step back, forward"),
    ("[ ]", "slower, faster"),
    ("n p", "next, previous mark, pass"),
    ("g", "go to a time, as 1:23"),
)
_BOTH_HELP = (
    ("d", "margin over distance"),
    ("b", "big figures alone"),
    ("u", "km/h, mph, m/s"),
    ("c", "your own channels"),
    ("t", "dark, or for sunlight"),
    ("?", "this page; escape closes"),
    ("q", "quit"),
)
_ADVICE = (
    ON_SCREEN,
    "Two links: CONTROL is transmitter to car, TELEMETRY is car to laptop.",
)
_TWO_COLUMNS_FROM = 72


def keys_row(*, replay: ReplayState | None, width: int, is_waiting: bool = False) -> Line:
    """Return the row at the foot; what does not fit is left out before the last keys.

    Args:
        replay: Where a replay stands; None in a live session.
        width: In cells.
        is_waiting: Whether there is nothing yet that most keys could act on.
    """
    last = [run for key in LAST_KEYS for run in _key(*key)]
    runs: list[Run] = [(" ", Ink.TEXT)]
    if replay is not None:
        keys = [("space", _space(replay)), *REPLAY_KEYS, *LIVE_KEYS[2:]]
    else:
        keys = [*LIVE_KEYS[-1:]] if is_waiting else [*LIVE_KEYS]
    for key in keys:
        if cells(runs) + cells(_key(*key)) + cells(last) <= width:
            runs += _key(*key)
    return line(width, *runs, *last)


def keys_page(*, is_replay: bool, width: int, rows: int) -> list[Line]:
    """Return the page that explains every key, in two columns where it would be too long."""
    first = _REPLAY_HELP if is_replay else _LIVE_HELP
    drawn = [line(width, (" KEYS", Ink.TITLE), pad=Ink.TITLE)]
    if len(first) + len(_BOTH_HELP) > rows - 4 and width >= _TWO_COLUMNS_FROM:
        half = width // 2
        drawn += beside((half, _help(first, half)), (width - half, _help(_BOTH_HELP, width - half)))
    else:
        drawn += _help((*first, *_BOTH_HELP), width)
    if rows > len(drawn) + len(_ADVICE):
        drawn.append(line(width))
    drawn += [line(width, (f"  {text}", Ink.FAINT)) for text in _ADVICE]
    return (drawn + [line(width)] * rows)[:rows]


def entry_row(typed: str, complaint: str, width: int) -> Line:
    """Return the row in which a time is typed."""
    return line(
        width,
        (" go to ", Ink.LABEL),
        (f"{typed}▏", Ink.STRONG),
        (f"  {complaint or '1:23, or 83 for seconds; enter goes there, escape closes'}", Ink.FAINT),
    )


def _space(replay: ReplayState) -> str:
    """Return what the space bar does now."""
    if replay.ended:
        return "again"
    return "go on" if replay.paused else "pause"


def _help(entries: Sequence[tuple[str, str]], width: int) -> list[Line]:
    return [line(width, (f"  {key:<12}", Ink.KEY), (does, Ink.TEXT)) for key, does in entries]


def _key(key: str, does: str) -> list[Run]:
    return [(key, Ink.KEY), (f" {does}  ", Ink.TEXT)]
