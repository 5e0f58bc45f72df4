"""What really arrives at a terminal: the screen behind a pseudo-terminal, read by an emulator.

Only changed cells are sent; here it is proved that they add up to the whole screen.
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pyte
import pytest

from tests.groundstation.screens.desks import scenes
from tests.groundstation.screens.showing import read

DEADLINE_S = 30.0


class Terminal:
    """A terminal of some size with a program in it."""

    def __init__(self, scene: str, size: tuple[int, int]) -> None:
        self._primary, secondary = pty.openpty()
        self.screen = pyte.Screen(*size)
        self._stream = pyte.ByteStream(self.screen)
        self._set_size(size)
        environment = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
        environment.pop("COLUMNS", None)  # the size is the terminal's own
        module = "tests.groundstation.screens.scene_in_terminal"
        self.program = subprocess.Popen(
            [sys.executable, "-m", module, scene],
            stdin=secondary, stdout=secondary, stderr=secondary, env=environment,
        )  # fmt: skip
        os.close(secondary)

    def _set_size(self, size: tuple[int, int]) -> None:
        columns, rows = size
        packed = struct.pack("HHHH", rows, columns, 0, 0)
        fcntl.ioctl(self._primary, termios.TIOCSWINSZ, packed)

    def resize(self, size: tuple[int, int]) -> None:
        self._set_size(size)
        self.screen.resize(size[1], size[0])
        self.program.send_signal(signal.SIGWINCH)

    def press(self, key: bytes) -> None:
        os.write(self._primary, key)

    def shows(self, expected: str) -> bool:
        """Return whether the terminal comes to show a text before the deadline."""
        deadline_s = time.monotonic() + DEADLINE_S
        while time.monotonic() < deadline_s:
            if "\n".join(self.screen.display) == expected:
                return True
            if select.select([self._primary], [], [], 0.1)[0]:
                self._stream.feed(os.read(self._primary, 65536))
        return False

    def ends(self) -> int:
        """Return the exit code, reading on so that the program is not held up."""
        while select.select([self._primary], [], [], DEADLINE_S)[0]:
            try:
                if not os.read(self._primary, 65536):
                    break
            except OSError:  # Linux says so when the other end is closed
                break
        return self.program.wait(DEADLINE_S)

    def close(self) -> None:
        self.program.kill()
        self.program.wait()
        os.close(self._primary)


@contextmanager
def terminal(scene: str, size: tuple[int, int]) -> Iterator[Terminal]:
    opened = Terminal(scene, size)
    try:
        yield opened
    finally:
        opened.close()


def test_the_terminal_shows_the_screen_through_resizing_pages_and_units() -> None:
    with terminal("lift", (80, 24)) as opened:
        assert opened.shows(read(scenes()["lift"]))
        for size in ((120, 40), (60, 18), (80, 24)):
            opened.resize(size)
            assert opened.shows(read(scenes()["lift"], size=size))
        opened.press(b"?")
        assert opened.shows(read(scenes()["lift"], keys=("question_mark",)))
        opened.press(b"?u")
        assert opened.shows(read(scenes()["lift"], keys=("u",)))
        opened.press(b"q")
        assert opened.ends() == 0


@pytest.mark.parametrize("key", [b"q", b"\x03"])
def test_quitting_in_a_terminal(key: bytes) -> None:
    with terminal("paused", (80, 24)) as opened:
        assert opened.shows(read(scenes()["paused"]))
        opened.press(key)
        assert opened.ends() == 0
