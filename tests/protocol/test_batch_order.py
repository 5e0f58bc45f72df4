"""Many frames placed at once stand where `Order` puts them one by one."""

from __future__ import annotations

from itertools import product
from math import isnan, nan

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from protocol import batch_order
from protocol.batch_order import Counters, place_all
from protocol.order import CLOCK_WRAP_US, SEQUENCE_WRAP, Order, Place

Frame = tuple[int, int, float]
"""Sequence number, clock in microseconds, arrival (NaN: not known)."""


def one_by_one(frames: list[Frame]) -> list[Place]:
    order = Order()
    return [
        order.place(sequence, clock_us, None if isnan(at_s) else at_s)
        for sequence, clock_us, at_s in frames
    ]


def all_at_once(frames: list[Frame]) -> list[Place]:
    sequence, clock_us, at_s = zip(*frames, strict=True)
    places = place_all(
        Counters(
            np.array(sequence, np.uint16), np.array(clock_us, np.uint32), np.array(at_s, np.float64)
        )
    )
    columns = (places.vehicle_us, places.missed, places.late, places.rebooted)
    return [Place(*each) for each in zip(*(column.tolist() for column in columns), strict=True)]


@st.composite
def heard(draw: st.DrawFn) -> list[Frame]:
    """Return frames that mostly follow each other, with all that may go wrong between them."""
    frames: list[Frame] = []
    sequence, clock_us = (
        draw(st.sampled_from([0, 65_500])),
        draw(st.sampled_from([0, 4_294_000_000])),
    )
    now_s, timed = 0.0, draw(st.sampled_from([True, True, True, False]))
    trouble = [
        "none", "none", "none", "late", "again", "early", "gap", "jump", "reboot", "silence",
        "backlog", "same", "untimed",
    ]  # fmt: skip
    for _ in range(draw(st.integers(1, 25))):
        at_s, what = now_s if timed else nan, draw(st.sampled_from(trouble))
        sequence, clock_us, now_s = sequence + 1, clock_us + 10_000, now_s + 0.01
        newest = (sequence, clock_us, at_s)
        match what:
            case "late":
                back = draw(st.integers(1, 12))
                frames.append((sequence - back, clock_us - 10_000 * back, at_s))
            case "again":
                count = draw(st.integers(1, 12))
                frames += [(number, clock, at_s) for number, clock, _ in frames[-count:]]
            case "early":
                frames.append((sequence, clock_us - draw(st.integers(1, 2_100_000)), at_s))
            case "gap":
                lost = draw(st.sampled_from([1, 3, 17, 500, 5000, 32_766, 32_767, 32_768, 65_535]))
                sequence += lost
                clock_us += draw(st.sampled_from([0, 10_000 * lost]))
            case "jump":
                clock_us += draw(st.integers(-2_100_000, 12_000_000))
            case "reboot":
                sequence, clock_us = 0, draw(st.integers(0, 3_000_000))
                now_s += draw(st.sampled_from([0.0, 0.5, 3.0]))
            case "silence":
                silent_s = draw(st.sampled_from([1.0, 11.0, 2147.4, 2147.6, 4295.0, 30_000.0]))
                now_s += silent_s
                clock_us += round(silent_s * 1e6) * draw(st.integers(0, 1))
            case "backlog":
                now_s -= draw(st.sampled_from([0.01, 0.01, 3.0]))
            case "same":
                frames += [newest, newest]
            case "untimed":
                newest = (sequence, clock_us, nan)
        frames.append(newest)
    return [(each[0] % SEQUENCE_WRAP, each[1] % CLOCK_WRAP_US, each[2]) for each in frames]


@pytest.mark.parametrize("rounds", [0, batch_order.ROUNDS])
@settings(
    max_examples=400,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(frames=heard())
def test_frames_placed_at_once_stand_where_order_puts_them(
    frames: list[Frame], rounds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch_order, "ROUNDS", rounds)
    assert all_at_once(frames) == one_by_one(frames)


def test_every_border_of_the_rules_between_two_frames() -> None:
    half_us, wrap_us = CLOCK_WRAP_US // 2, CLOCK_WRAP_US
    steps = [-32_768, -1, 0, 1, 2, 16, 17, 18, 19, 4016, 4017, 4018, 32_767]
    aheads_us = [
        0, 1, 10_000, 1_999_999, 2_000_000, 10_000_000, half_us - 1, half_us, half_us + 1,
        wrap_us - 2_000_001, wrap_us - 2_000_000, wrap_us - 1_999_999, wrap_us - 1,
    ]  # fmt: skip
    borders_us = (0, 2_000_000, -10_000_000, half_us, wrap_us, wrap_us + half_us)
    for step, ahead_us in product(steps, aheads_us):
        waits_us = {
            border + by + a for border in borders_us for by in (-1, 0, 1) for a in (0, ahead_us)
        }
        for waited_s in [nan, *(wait_us / 1e6 for wait_us in waits_us)]:
            # Behind a plain frame, so that what it says of the next one shows too.
            second = (40_000 + step, 5_000_000 + ahead_us, waited_s)
            third = (second[0] + 1, second[1] + 10_000, waited_s + 0.01)
            frames = [
                (sequence % SEQUENCE_WRAP, clock_us % wrap_us, at_s)
                for sequence, clock_us, at_s in [(40_000, 5_000_000, 0.0), second, third]
            ]
            assert all_at_once(frames) == one_by_one(frames)


def test_a_long_run_of_late_frames_is_settled_singly() -> None:
    frames = [(number, 10_000 * number, 0.01 * number) for number in range(100)]
    again = frames[:60] + frames[20:60] + frames[60:]
    places = all_at_once(again)
    assert places == one_by_one(again)
    assert [each.late for each in places] == [False] * 60 + [True] * 40 + [False] * 40


@pytest.mark.parametrize("rounds", [0, 1, 2, batch_order.ROUNDS])
def test_a_silence_behind_a_late_frame_is_measured_from_the_newest_one(
    rounds: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch_order, "ROUNDS", rounds)
    frames = [(1, 10_000, 0.0), (2, 20_000, 0.01), (1, 10_000, 0.02), (3, 30_000, 4294.987)]
    places = all_at_once(frames)
    assert places == one_by_one(frames)
    assert places[3] == Place(CLOCK_WRAP_US + 30_000)


def test_one_frame_and_none() -> None:
    assert all_at_once([(7, 123, nan)]) == [Place(123)]
    none = Counters(np.empty(0, np.uint16), np.empty(0, np.uint32), np.empty(0))
    assert len(place_all(none).vehicle_us) == 0
    for count in (0, 1, 3):
        frames = np.arange(count)
        places = place_all(
            Counters(frames.astype(np.uint16), frames.astype(np.uint32), frames.astype(np.float64))
        )
        columns = (places.vehicle_us, places.missed, places.late, places.rebooted)
        assert [each.dtype for each in columns] == [np.int64, np.int32, np.bool_, np.bool_]


def test_parts_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    frames = [
        (number * 2 % SEQUENCE_WRAP, number * 50_000_000 % CLOCK_WRAP_US, 50.0 * number)
        for number in range(500)
    ]
    whole = all_at_once(frames)
    assert whole == one_by_one(frames)
    for together in (1, 7, 64):
        monkeypatch.setattr(batch_order, "_TOGETHER", together)
        assert all_at_once(frames) == whole
