"""Rows of single chunks merged into blocks of about a second, without changing what they say.

A live session is written a row a chunk, so that a kill costs nothing; loading an hour of such rows
takes many times as long as loading the same bytes in blocks. Times, sizes, bytes and order stay.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator

from groundstation.recording.rows import BYTES, Row

BLOCK_S = 1.0

BLOCK_BYTES = 1 << 20

_ROWS_AT_ONCE = 20_000

_SELECT = "SELECT id, at_s, kind, times, sizes, data FROM inbound WHERE id > ? ORDER BY id LIMIT ?"


def compact(connection: sqlite3.Connection) -> None:
    """Merge the chunks of a session, in one transaction.

    Raises:
        sqlite3.Error: It cannot be done now; the file is as it was.
    """
    connection.execute("BEGIN IMMEDIATE")
    try:
        last_id = 0
        # Block by block in place: the pages that one frees take up the next, and the file stays
        # as long as it is.
        while rows := connection.execute(_SELECT, (last_id, _ROWS_AT_ONCE)).fetchall():
            last_id = rows[-1][0]
            for block in blocks(rows):
                _replace(connection, block)
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def blocks(rows: Iterable[Row]) -> Iterator[list[Row]]:
    """Yield the runs of rows that belong in one block, in order; other rows yield nothing."""
    block: list[Row] = []
    size = 0
    for row in rows:
        if row[2] != BYTES:
            if block:
                yield block
            block, size = [], 0
            continue
        size += len(row[5])
        if block and (row[1] - block[0][1] >= BLOCK_S or size > BLOCK_BYTES):
            yield block
            block, size = [], len(row[5])
        block.append(row)
    if block:
        yield block


def _replace(connection: sqlite3.Connection, block: list[Row]) -> None:
    if len(block) < 2:
        return
    ids, starts, _, times, sizes, data = zip(*block, strict=True)
    connection.execute("DELETE FROM inbound WHERE id BETWEEN ? AND ?", (ids[0], ids[-1]))
    connection.execute(
        "INSERT INTO inbound VALUES (?, ?, ?, ?, ?, ?)",
        (ids[0], starts[0], BYTES, b"".join(times), b"".join(sizes), b"".join(data)),
    )
