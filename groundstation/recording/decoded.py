"""A whole recording as decoded columns, by the batch decoder."""

from __future__ import annotations

from groundstation.recording.tape import Tape
from protocol import Table
from protocol.batch import Batch, decode


def decode_tape(tape: Tape, table: Table) -> Batch:
    """Return all frames of a recording as columns.

    Args:
        tape: A session or a capture.
        table: The frame table it was recorded with.
    """
    raw = tape.columns()
    return decode(raw.data, raw.at_s, raw.sizes, table, restarts=raw.restarts)
