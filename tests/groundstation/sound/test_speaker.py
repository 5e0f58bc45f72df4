"""The speaker process: started, stopped, lost."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from groundstation.sound.speaker import Fetch, Voice, speak
from groundstation.sound.tones import Samples, tone


def fetched(voice: Voice, count: int, *, block: int = 160) -> Samples:
    """Return what the audio system would have got, fetched in blocks."""
    heard = np.full(count, 9.0, dtype=np.float32)
    for start in range(0, count, block):
        voice.fetch(heard[start : start + block])
    return heard


@pytest.mark.parametrize("block", [1, 37, 160, 4800])
def test_a_tone_is_fetched_in_blocks_of_any_size(block: int) -> None:
    began: list[str] = []
    voice, samples = Voice(lambda: began.append("began")), tone(1200.0, 0.05)
    assert not fetched(voice, 480).any()
    assert began == []
    voice.begin(samples)
    heard = fetched(voice, 4800, block=block)
    assert np.array_equal(heard[: samples.size], samples)
    assert not heard[samples.size :].any()
    assert began == ["began"]


def test_a_tone_that_is_cut_into_does_not_click() -> None:
    voice = Voice(lambda: None)
    voice.begin(tone(600.0, 0.2))
    first = fetched(voice, 981, block=981)
    voice.begin(tone(2400.0, 0.1))
    heard = np.concatenate([first, fetched(voice, 9600)])
    # A 600 Hz and a 2400 Hz sine at 0.7 rise by 0.055 and 0.22 a sample at most; the cut itself,
    # from the first tone's crest, would be a step of 0.7.
    assert abs(first[-1]) > 0.6
    assert np.abs(np.diff(heard)).max() < 0.28


class Device:
    """Audio that fetches a block whenever it is asked to, and remembers what it got."""

    def __init__(self) -> None:
        self.running = False
        self.fetch: Fetch | None = None

    @contextmanager
    def __call__(self, fetch: Fetch) -> Iterator[None]:
        self.running, self.fetch = True, fetch
        yield
        self.running = False

    def requests(self, lines: list[str], heard: list[Samples]) -> Iterator[str]:
        for line in lines:
            yield line
            block = np.zeros(4800, dtype=np.float32)
            assert self.running
            assert self.fetch is not None
            self.fetch(block)
            heard.append(block)


def test_requests_are_played_and_answered() -> None:
    device, heard, answers = Device(), list[Samples](), io.StringIO()
    lines = device.requests(["1200.0 0.100\n", "2400.0 0.050\n"], heard)
    speak(lines, answers, device)  # type: ignore[arg-type]
    assert answers.getvalue() == "ready\nplaying\nplaying\n"
    assert np.array_equal(heard[0], tone(1200.0, 0.1))
    assert np.array_equal(heard[1][:2400], tone(2400.0, 0.05))
    assert not device.running


def test_no_audio_is_a_reason() -> None:
    def nothing(fetch: Fetch) -> Device:
        raise OSError("there is no sound device\nand more lines")

    answers = io.StringIO()
    speak(io.StringIO("600 0.1\n"), answers, nothing)  # type: ignore[arg-type]
    assert answers.getvalue() == "trouble there is no sound device\n"


def test_a_missing_audio_library_is_a_reason() -> None:
    program = (
        "import sys; sys.modules['sounddevice'] = None\n"
        "from groundstation.sound.speaker import speak\n"
        "speak(sys.stdin, sys.stdout)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program],
        input="600 0.1\n",
        capture_output=True,
        text=True,
        check=True,
    )
    assert ran.stdout.startswith("trouble ")
    assert "sounddevice" in ran.stdout
    assert ran.stderr == ""
