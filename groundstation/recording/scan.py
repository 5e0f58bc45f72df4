"""A table of a session file from one end to the other, in batches.

Rule: a forged tree of pages can show the same rows, or the same bytes, over and over; so ids must
rise, and no more is read than lies on the disk. No connection stays open between two batches: a
reader that is left alone locks nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from operator import itemgetter, lt
from pathlib import Path
from typing import Any

from groundstation.recording import names, store

ROWS_AT_ONCE = 2000

_SIZE = "ifnull(length({0}), 0)"


@dataclass(frozen=True, slots=True)
class Listing:
    """What is read of a table."""

    table: str
    id: str
    columns: tuple[str, ...]
    heavy: tuple[str, ...]
    """Those of the columns that can be long."""

    @property
    def rows(self) -> str:
        """The query for the next rows, id first."""
        return f"SELECT {self.id}, {', '.join(self.columns)} {self._next}"

    @property
    def size(self) -> str:
        """The query for how long the next rows are, without loading them."""
        sizes = " + ".join(_SIZE.format(column) for column in self.heavy)
        return f"SELECT total({sizes}) FROM (SELECT * {self._next})"

    @property
    def _next(self) -> str:
        return f"FROM {self.table} WHERE {self.id} > ? ORDER BY {self.id} LIMIT ?"


INBOUND = Listing(
    "inbound", "id", ("at_s", "kind", "times", "sizes", "data"), ("times", "sizes", "data")
)
EVENTS = Listing("events", "rowid", ("at_s", "kind", "text"), ("kind", "text"))
META = Listing("meta", "rowid", ("key", "value"), ("key", "value"))


def batches(listing: Listing, path: Path, *, named: Path, after_id: int = 0) -> Iterator[list[Any]]:
    """Yield the rows of a table in the order of their ids, each a tuple with the id first.

    Args:
        listing: What is read.
        path: Of the file.
        named: What errors call it.
        after_id: Where to begin.

    Raises:
        SessionFileError: The file cannot be read, or is damaged.
    """
    rows_query, size_query, read_bytes = listing.rows, listing.size, 0
    while True:
        with store.reading(path, named=named) as connection:
            place = (after_id, ROWS_AT_ONCE)
            read_bytes += connection.execute(size_query, place).fetchone()[0]
            if read_bytes > bytes_on_disk(path):
                raise ValueError("more content than the file has room for")
            rows = connection.execute(rows_query, place).fetchall()
            ids = [after_id, *map(itemgetter(0), rows)]
            if not all(map(lt, ids, ids[1:])):
                raise ValueError("rows out of order")
        if not rows:
            return
        after_id = ids[-1]
        yield rows


def bytes_on_disk(path: Path) -> int:
    """Return the size of a session, with what lies beside it."""
    size = 0
    for part in (path, *names.side_files(path)):
        with suppress(FileNotFoundError):  # a recorder that closes takes its log away
            size += part.stat().st_size
    return size
