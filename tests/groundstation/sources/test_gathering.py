from __future__ import annotations

import pytest

from groundstation.sources.gathering import (
    FAST_BYTES_PER_S,
    GATHER_BYTES,
    GATHER_S,
    WINDOW_S,
    Gathering,
)
from groundstation.sources.serial_port import MAX_READ_BYTES

FRAME_BYTES = 33
"""A motion frame on the wire."""


def waits_s(sizes_at: list[tuple[float, int]]) -> list[float]:
    gathering = Gathering()
    return [gathering.wait_s(size, at_s) for at_s, size in sizes_at]


def steady(rate_hz: float, size: int, *, seconds: float = 2.0) -> list[tuple[float, int]]:
    return [(number / rate_hz, size) for number in range(round(seconds * rate_hz))]


@pytest.mark.parametrize("rate_hz", [1, 50, 100, 200])
def test_usual_streams_never_wait(rate_hz: float) -> None:
    assert set(waits_s(steady(rate_hz, FRAME_BYTES))) == {0.0}


def test_the_pieces_of_frames_never_wait() -> None:
    # 115200 baud without a pause: an adapter that hands over each millisecond.
    assert set(waits_s(steady(1000, 12))) == {0.0}
    # 200 frames a second, each in two pieces one behind the other.
    pieces = [(at_s + late_s, 17) for at_s, _ in steady(200, 0) for late_s in (0.0, 1e-4)]
    assert set(waits_s(pieces)) == {0.0}


def test_a_thousand_frames_a_second_gather_once_their_speed_is_known() -> None:
    waits = waits_s(steady(1000, FRAME_BYTES))
    first = waits.index(GATHER_S)
    assert first / 1000 <= 2 * WINDOW_S
    assert set(waits[:first]) == {0.0}
    assert set(waits[first:]) == {GATHER_S}


def test_a_stream_that_slows_down_is_read_at_once_again() -> None:
    slow = [(2.0 + at_s, size) for at_s, size in steady(100, FRAME_BYTES)]
    waits = waits_s(steady(1000, FRAME_BYTES) + slow)
    of_slow = waits[-len(slow) :]
    assert set(of_slow[round(2 * WINDOW_S * 100) :]) == {0.0}


def test_what_had_piled_up_over_a_silence_is_no_fast_stream() -> None:
    assert waits_s([(0.0, 33), (60.0, MAX_READ_BYTES)]) == [0.0, 0.0]


@pytest.mark.parametrize("bytes_per_s", [FAST_BYTES_PER_S * 1.1, 200_000, 400_000, 1_200_000])
def test_a_wait_that_lasts_twice_as_long_still_fits_the_buffer(bytes_per_s: float) -> None:
    longest_s = max(waits_s(steady(1000, round(bytes_per_s / 1000))))
    assert 0.0 < longest_s <= GATHER_S
    assert MAX_READ_BYTES == 2 * GATHER_BYTES
    assert 2 * longest_s * bytes_per_s <= MAX_READ_BYTES + 1e-6
