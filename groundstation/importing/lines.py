"""The lines of a foreign text file, whatever its encoding, in bounded space.

Rules: a file that is too long is refused before it is read; a line that is too long, or holds what
no text holds, is left out and counted. Nothing in a file can make reading it endless.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from io import TextIOWrapper
from pathlib import Path

from groundstation.errors import SessionFileError
from groundstation.recording.store import file_error, size_of, unreadable

MAX_FILE_BYTES = 256 << 20
"""Half a day of twenty columns at 50 Hz."""

MAX_LINE_BYTES = 32_768
"""Five hundred columns of sixty characters."""

HEAD_BYTES = 65_536

Progress = Callable[[int], None]
"""Told how many bytes of the file have been read."""


def no_progress(done_bytes: int) -> None:
    """Tell nobody."""


def checked_size(path: Path) -> int:
    """Return the size of a file that can be imported.

    Raises:
        SessionFileError: It is not there, no file, empty, or too long.
    """
    size = size_of(path)
    if not size:
        raise file_error(path, "is empty", "Name a log that holds rows")
    if size > MAX_FILE_BYTES:
        raise file_error(path, f"is longer than {MAX_FILE_BYTES >> 20} MiB", "Cut it into parts")
    return size


def read_head(path: Path) -> bytes:
    """Return how a file begins.

    Raises:
        SessionFileError: It cannot be read.
    """
    checked_size(path)
    try:
        with path.open("rb") as file:
            return file.read(HEAD_BYTES)
    except OSError as error:
        raise unreadable(path, error) from error


def encoding_of(path: Path) -> str:
    """Return the encoding of a text: by its mark, UTF-8 where it is that, else Windows' Latin.

    Raises:
        SessionFileError: The file cannot be read, or is no text.
    """
    head = read_head(path)
    for mark, encoding in (
        (b"\xef\xbb\xbf", "utf-8-sig"),
        (b"\xff\xfe", "utf-16"),
        (b"\xfe\xff", "utf-16"),
    ):
        if head.startswith(mark):
            return encoding
    if head.count(0) > len(head) // 8:
        raise file_error(path, "is no text", "CSV, NMEA 0183 and GPX can be imported")
    try:
        # The head may end within a character; what is behind it is read with replacement marks.
        head[: head.rfind(b"\n") + 1 or None].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def read_lines(
    path: Path, encoding: str, counts: Counter[str], progress: Progress = no_progress
) -> Iterator[str]:
    """Yield a file's lines without their ends; one that cannot be used is an empty line.

    Raises:
        SessionFileError: The file cannot be read.
    """
    checked_size(path)
    try:
        with (
            path.open("rb") as raw,
            TextIOWrapper(raw, encoding=encoding, errors="replace") as file,
        ):
            number = 0
            while line := file.readline(MAX_LINE_BYTES):
                number += 1
                if not number % 4096:
                    progress(raw.tell())
                if len(line) == MAX_LINE_BYTES and not line.endswith("\n"):
                    _skip_rest(file.readline)
                    counts["lines too long to be true"] += 1
                    line = ""
                elif "\0" in line:
                    counts["lines with zero bytes"] += 1
                    line = ""
                yield line.rstrip("\n")
    except OSError as error:
        raise unreadable(path, error) from error
    except (UnicodeError, LookupError) as error:
        raise SessionFileError(f"the log cannot be read as {encoding}") from error


def _skip_rest(read: Callable[[int], str]) -> None:
    while (part := read(MAX_LINE_BYTES)) and not part.endswith("\n"):
        pass
