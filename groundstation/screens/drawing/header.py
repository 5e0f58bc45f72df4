"""The head of the screen: who is watched, from where, and whether every byte reaches the disk."""

from __future__ import annotations

from rich.cells import cell_len

from groundstation.desk import RecordState
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, clauses, clean, fit, spread
from groundstation.vehicle.snapshot import Identity

_RECORD_CELLS = 9
"""Beside the name of the recording."""


def header(
    *, identity: Identity | None, title: str, record: RecordState, is_replay: bool, width: int
) -> Line:
    """Return the head row: the vehicle and the source left, the recording right."""
    left: list[Run] = [(" ", Ink.TEXT)]
    if is_replay:
        left = [(" REPLAY ", Ink.REPLAY), (" ", Ink.TEXT)]
    if identity is not None:
        left += [(fit(identity.name or "no name", 20), Ink.STRONG)]
        left += [(f" #{identity.number}  ", Ink.FAINT)]
        if identity.others:
            left.append((f"also heard #{_listed(identity.others)}  ", Ink.THIN))
    wanted = width - cells(left) - cell_len(clean(title)) - _RECORD_CELLS
    right = _record(record, is_replay=is_replay, room=max(width * 2 // 5, wanted))
    left.append((fit(title, max(width - cells(left) - cells(right) - 1, 0)), Ink.TEXT))
    return spread(width, left, right)


def trouble_row(record: RecordState, width: int) -> Line:
    """Return the row that says, loudly, that bytes are being lost."""
    end = f"  {record.lost_bytes} bytes lost " if record.lost_bytes else " "
    text = clauses(f" ■ NOT RECORDING  {record.trouble}", max(width - len(end), 0))
    return spread(width, [(text, Ink.TROUBLE)], [(end, Ink.TROUBLE)], pad=Ink.TROUBLE)


def _record(record: RecordState, *, is_replay: bool, room: int) -> list[Run]:
    if is_replay:
        return []
    if record.trouble:
        return [(" NOT RECORDING ", Ink.TROUBLE), (" ", Ink.TEXT)]
    if record.recording:
        return [("● REC ", Ink.RECORDING), (f"{fit(record.file_name, room)} ", Ink.TEXT)]
    return [("○ not recording ", Ink.FAINT)]


def _listed(numbers: tuple[int, ...]) -> str:
    shown = " #".join(str(number) for number in numbers[:3])
    return shown if len(numbers) <= 3 else f"{shown} ..."
