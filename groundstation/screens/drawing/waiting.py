"""What is shown before the first good frame: what is waited for, and what to do about it."""

from __future__ import annotations

from groundstation.inbound import LinkState
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, fit, line, wrap
from groundstation.vehicle.snapshot import Snapshot


def waiting(
    snapshot: Snapshot, *, title: str, is_replay: bool, width: int, rows: int
) -> list[Line]:
    """Return the whole waiting screen, its words in the middle."""
    room = max(width - 8, 1)
    said: list[list[Run]] = []
    if is_replay:
        said.append([("no frames up to here in ", Ink.TEXT), (fit(title, room - 24), Ink.STRONG)])
    else:
        said.append([("waiting for frames from ", Ink.TEXT), (fit(title, room - 24), Ink.STRONG)])
    said.append([])
    link = snapshot.telemetry
    if link.state is not None and link.state is not LinkState.CONNECTED:
        said.append([(f" {link.state.upper()} ", Ink.TROUBLE)])
        said.append([])
        said += [[(text, Ink.STRONG)] for text in wrap(link.detail, room, 3)]
    elif link.bytes_received:
        said.append([(f"{link.bytes_received} bytes, but no good frame yet", Ink.STRONG)])
        said += [[(text, Ink.TEXT)] for text in wrap(link.detail, room, 3)]
        said.append([("Is the baud rate right? Is it this car's telemetry?", Ink.TEXT)])
    elif link.state is LinkState.CONNECTED:
        said.append([("connected, nothing received yet", Ink.STRONG)])
        said.append([("Is the car switched on?", Ink.TEXT)])
    above = max((rows - len(said)) // 2, 0)
    drawn = [line(width)] * above
    for runs in said:
        drawn.append(line(width, (" " * max((width - cells(runs)) // 2, 0), Ink.TEXT), *runs))
    drawn += [line(width)] * (rows - len(drawn))
    return drawn[:rows]
