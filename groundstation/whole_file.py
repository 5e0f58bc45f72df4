"""Files that are there whole or not at all, whatever stops the writing."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Yield a name beside `path` to write to; what is written there takes its place at the end.

    After an error or an interrupt `path` is as it was before. A pipe or a device is written to as
    it is.

    Raises:
        OSError: The file cannot take its place.
    """
    path = path.resolve()
    if path.exists() and not path.is_file():
        yield path
        return
    part = path.with_name(f".{path.stem}.part{path.suffix}")
    try:
        yield part
        with part.open("rb") as file:
            os.fsync(file.fileno())
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
