"""Plays tones in a process of its own: `python -m groundstation.sound.speaker`.

Owns the system's audio. It stands apart from the session because sound libraries write to standard
error, hold it shut while they start, hang on a headset that is gone, and crash: none of that may
reach a screen or a recording. A line `PITCH_HZ SOUNDING_S` on standard input is a tone. Lines on
standard output are the answers: `ready`, `playing` when a tone has begun, or `trouble` and a
reason. The end of its input is its own end.
"""

from __future__ import annotations

import io
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import TextIO

import numpy as np

from groundstation.sound.tones import SAMPLE_RATE_HZ, Samples, crossfade, tone

LATENCY_S = 0.05
"""Asked of the audio system: short for an ear, long enough for a laptop that is busy."""

SILENCE = np.zeros(0, dtype=np.float32)


class Voice:
    """One tone at a time: what the audio system fetches its samples from, in its own thread."""

    def __init__(self, began: Callable[[], None]) -> None:
        self._began = began
        self._lock = threading.Lock()
        self._left = SILENCE
        self._announced = True

    def begin(self, samples: Samples) -> None:
        """Begin a tone; one that still sounds dies away under it."""
        with self._lock:
            self._left = crossfade(self._left, samples)
            self._announced = False

    def fetch(self, block: Samples) -> None:
        """Fill a block with what is to be heard now."""
        with self._lock:
            heard, self._left = self._left[: block.size], self._left[block.size :]
            begins, self._announced = not self._announced, True
        block[: heard.size] = heard
        block[heard.size :] = 0.0
        if begins:
            self._began()


Fetch = Callable[[Samples], None]
OpenAudio = Callable[[Fetch], AbstractContextManager[object]]


def open_audio(fetch: Fetch) -> AbstractContextManager[object]:
    """Return the system's audio, which runs while it is entered.

    Raises:
        OSError: There is no audio library or no device.
    """
    import sounddevice

    def fill(block: Samples, _frames: int, _time: object, _status: object) -> None:
        fetch(block[:, 0])

    try:
        sounddevice.query_devices(kind="output")
    except (sounddevice.PortAudioError, ValueError) as error:
        raise OSError("there is no sound device") from error
    try:
        stream: AbstractContextManager[object] = sounddevice.OutputStream(
            samplerate=SAMPLE_RATE_HZ,
            channels=1,
            dtype="float32",
            latency=LATENCY_S,
            callback=fill,
        )
    except sounddevice.PortAudioError as error:
        raise OSError(str(error)) from error
    return stream


def speak(requests: TextIO, answers: TextIO, open_audio: OpenAudio = open_audio) -> None:
    """Play what is asked for until the requests end."""

    def answer(text: str) -> None:
        print(text, file=answers, flush=True)

    voice = Voice(lambda: answer("playing"))
    try:
        with open_audio(voice.fetch):
            answer("ready")
            for request in requests:
                pitch_hz, sounding_s = map(float, request.split())
                voice.begin(tone(pitch_hz, sounding_s))
    except Exception as error:
        # Whatever it is, the session rings the bell instead, and says why.
        first_line = (str(error).splitlines() or [type(error).__name__])[0]
        answer(f"trouble {first_line}")


if __name__ == "__main__":
    # Ctrl+C reaches every process of a terminal; this one ends with its session.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = io.TextIOWrapper(sys.stdout.buffer, encoding="utf-8", errors="replace")
    speak(sys.stdin, answers)
