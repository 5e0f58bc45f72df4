"""Where exported files go: into one folder, never over what is there unless that is asked for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from groundstation.errors import SessionFileError, UsageError


@contextmanager
def room_for(paths: Iterable[Path], *, folder: Path, overwrite: bool) -> Iterator[None]:
    """Make the folder for files that are about to be written.

    Args:
        paths: Of the files, in `folder`.
        folder: Made if it is not there.
        overwrite: Whether files that are there may be replaced.

    Raises:
        UsageError: A file is there already.
        SessionFileError: What is done within could not write.
    """
    there = next((path for path in paths if path.exists()), None)
    if there is not None and not overwrite:
        raise UsageError(f"{there} is there already", "give another folder, or --force")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise SessionFileError(f"cannot write to {folder}: {reason}") from error
