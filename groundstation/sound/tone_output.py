"""Tones through the system's audio, played by a process of its own (`speaker.py`).

Owns that process. Rule: no call but `close` waits for it. It is started and listened to in a
thread, and never has more than `UNANSWERED` requests before it, so that writing to it cannot block.
One that answers no longer (a headset that is gone, a hung driver) leaves the beats to the bell
until it does again.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from importlib.util import find_spec

from groundstation.radio.level import Level
from groundstation.sound.outputs import Beat
from groundstation.sound.pitch import frequency_hz
from groundstation.wording import printable

UNANSWERED = 4
"""A pipe holds thousands of requests; more than a few beats behind, nobody hears them in time."""

END_S = 2.0
"""The process is given this long to end by itself."""

LEVEL_MARGIN_DB = {Level.CLEAR: 20.0, Level.THIN: 10.0, Level.LIFT: 3.0, Level.LOST: 0.0}
"""Gives the pitch where no margin is known: about where the level begins."""


def tones_installed() -> bool:
    """Return whether the optional audio library is there, without loading it."""
    return find_spec("sounddevice") is not None


class ToneOutput:
    """Tones whose pitch follows the stop margin."""

    def __init__(self, command: Sequence[str] | None = None) -> None:
        """Do nothing yet.

        Args:
            command: Runs what plays; None for our own.
        """
        self._command = list(command or (sys.executable, "-P", "-m", "groundstation.sound.speaker"))
        self._process: subprocess.Popen[bytes] | None = None
        self._thread: threading.Thread | None = None
        self._closing = False
        self._lock = threading.Lock()
        self._asked = 0
        self._answered = 0
        self._failure = ""
        self.ready = threading.Event()
        """Set while tones can be played."""
        self.ended = threading.Event()
        """Set once they cannot be played any more."""

    @property
    def trouble(self) -> str:
        """Why the bell rings instead, one plain sentence; empty while all is well."""
        reason = self._failure
        if not reason and self._is_behind:
            reason = "the sound device does not answer"
        return f"no tones, the bell rings instead: {reason}" if reason else ""

    def prepare(self) -> None:
        """Begin to start what plays; it is ready some tenths of a second later."""
        if self._thread is None and not self._closing:
            self._thread = threading.Thread(target=self._run, name="tones", daemon=True)
            self._thread.start()

    def sound(self, beat: Beat) -> bool:
        """Ask for a tone; return False where none can be played now."""
        self.prepare()
        process = self._process
        if process is None or process.stdin is None:
            return False
        if not self.ready.is_set() or self._is_behind:
            return False
        margin_db = beat.stop_margin_db
        if margin_db is None:
            margin_db = LEVEL_MARGIN_DB[beat.level]
        request = f"{frequency_hz(margin_db):.1f} {beat.sounding_s:.3f}\n"
        try:
            process.stdin.write(request.encode("ascii"))
        except (OSError, ValueError):  # it ended a moment ago; its thread will say why
            return False
        self._asked += 1
        return True

    def close(self) -> None:
        """End what plays; may be called twice."""
        with self._lock:
            self._closing = True
            self._end_requests()
        if self._thread is not None:
            self._thread.join(END_S)
        if self._thread is not None and self._thread.is_alive() and self._process is not None:
            self._process.kill()
            self._thread.join(END_S)

    @property
    def _is_behind(self) -> bool:
        return self._asked - self._answered >= UNANSWERED

    def _run(self) -> None:
        """Start the process, listen to its answers, and see it end."""
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        try:
            process = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                bufsize=0,
                env=environment,
            )
        except (OSError, ValueError) as error:
            self._fail(getattr(error, "strerror", None) or str(error))
            return
        with self._lock:
            self._process = process
            if self._closing:
                self._end_requests()
        with process:
            for line in process.stdout or ():
                self._take_answer(line.decode("utf-8", "replace").strip())
        self._fail("it ended by itself")

    def _take_answer(self, answer: str) -> None:
        word, _, reason = answer.partition(" ")
        if word == "ready":
            self.ready.set()
        elif word == "playing":
            # Only the newest tone answers where two were begun at once.
            self._answered = self._asked
        elif word == "trouble":
            self._fail(printable(reason)[:200])

    def _fail(self, reason: str) -> None:
        self.ready.clear()
        if not self._failure and not self._closing:
            self._failure = reason
        self.ended.set()

    def _end_requests(self) -> None:
        if self._process is not None and self._process.stdin is not None:
            with suppress(OSError):
                self._process.stdin.close()
