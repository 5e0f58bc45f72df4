"""A program behind a pseudo-terminal, and what it writes there, each piece with its arrival."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import struct
import subprocess
import termios
from collections.abc import Mapping, Sequence
from time import perf_counter
from types import TracebackType
from typing import Self

COLUMNS, ROWS = 120, 40

STOP_S = 10.0
"""How long a program may take to end once it is asked to."""


class Terminal:
    """Starts a program with a terminal of 120x40 for its own."""

    def __init__(self, command: Sequence[str], environment: Mapping[str, str]) -> None:
        self._primary, secondary = pty.openpty()
        fcntl.ioctl(secondary, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        look = {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
        self.began_s = perf_counter()
        self._process = subprocess.Popen(
            command,
            stdin=secondary,
            stdout=secondary,
            stderr=secondary,
            env={key: value for key, value in environment.items() if key != "NO_COLOR"} | look,
        )
        os.close(secondary)

    def read(self, timeout_s: float) -> tuple[bytes, float]:
        """Return what has come and when it was seen; nothing after the timeout.

        Raises:
            RuntimeError: The program has ended.
        """
        if not select.select([self._primary], [], [], timeout_s)[0]:
            return b"", perf_counter()
        seen_s = perf_counter()
        try:
            return os.read(self._primary, 1 << 16), seen_s
        except OSError as error:  # Linux says so when the other end is closed
            raise RuntimeError("the program ended before its time") from error

    def press(self, keys: bytes) -> None:
        """Type something."""
        os.write(self._primary, keys)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Ask the program to quit, and wait until it has."""
        deadline_s = perf_counter() + STOP_S
        try:
            self.press(b"q")
            while perf_counter() < deadline_s:
                self.read(0.1)
        except (OSError, RuntimeError):
            pass  # gone, as it should be
        if perf_counter() >= deadline_s:
            self._process.kill()
        self._process.wait()
        os.close(self._primary)
