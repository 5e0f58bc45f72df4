"""The order of one vehicle's frames, many at once: what `order.Order` says of each of them.

Owns the same rules over arrays. What a frame is depends on the state that the frames before it
left behind; nearly always that is simply the frame before. So every frame is first judged against
that one. Where it turns out not to have set the state (it was late, or stamped with an earlier
clock), judgement is passed again against those that did; what has not settled after a few rounds
is left to `Order` itself, frame by frame.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from math import isnan
from typing import Self

import numpy as np
from numpy.typing import NDArray

from protocol.order import (
    AHEAD_US,
    CLOCK_WRAP_US,
    LATE_US,
    MAX_FRAMES_AT_ONCE,
    MAX_FRAMES_PER_S,
    SEQUENCE_WRAP,
    Order,
)

ROUNDS = 4
"""Judgements passed on unsettled frames together; k late frames in a row take k of them."""

_TOGETHER = 1 << 16
"""Frames judged at once, so that what is reckoned with them stays in the cache."""

_Indices = NDArray[np.intp] | slice


@dataclass(frozen=True, slots=True)
class Counters:
    """What is known of each frame."""

    sequence: NDArray[np.uint16]
    clock_us: NDArray[np.uint32]
    at_s: NDArray[np.float64]
    """Arrival; NaN where it is not known."""


@dataclass(frozen=True, slots=True)
class Places:
    """Where frames stand among their vehicle's frames: the columns of `order.Place`."""

    vehicle_us: NDArray[np.int64]
    missed: NDArray[np.int32]
    late: NDArray[np.bool_]
    rebooted: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Judgements:
    """What is said of each frame before the clock is summed up."""

    advance_us: NDArray[np.int64]
    """How far the frame moves the vehicle's clock on."""
    offset_us: NDArray[np.int64]
    """Where the frame stands from there; not 0 where its own clock is not the newest."""
    missed: NDArray[np.int32]
    late: NDArray[np.bool_]
    early_clock: NDArray[np.bool_]
    """A later frame with an earlier clock: it sets the state, but not the state's clock."""
    rebooted: NDArray[np.bool_]

    @classmethod
    def none_yet(cls, count: int) -> Self:
        """Return judgements as of a vehicle's first frame."""
        return cls(
            advance_us=np.zeros(count, np.int64),
            offset_us=np.zeros(count, np.int64),
            missed=np.zeros(count, np.int32),
            late=np.zeros(count, np.bool_),
            early_clock=np.zeros(count, np.bool_),
            rebooted=np.zeros(count, np.bool_),
        )

    def put(self, places: _Indices, judged: _Judgements) -> None:
        """Take over other judgements."""
        for each in fields(self):
            getattr(self, each.name)[places] = getattr(judged, each.name)


def place_all(frames: Counters) -> Places:
    """Return where each frame of one vehicle stands; `frames` in the order of arrival."""
    count = len(frames.sequence)
    judged = _Judgements.none_yet(count)
    all_plain = True
    for begin in range(1, count, _TOGETHER):
        part = slice(begin, min(begin + _TOGETHER, count))
        before = slice(part.start - 1, part.stop - 1)
        step, ahead_us, waited_us = _steps(frames, part, before, before)
        if _is_plain(step, ahead_us, waited_us):
            judged.advance_us[part], judged.missed[part] = ahead_us, step - 1
        else:
            all_plain = False
            judged.put(part, _judge(step, ahead_us, waited_us))
    if not all_plain and (judged.late.any() or judged.early_clock.any()):
        _settle(frames, judged)
    judged.advance_us[:1] = frames.clock_us[:1]
    vehicle_us = np.cumsum(judged.advance_us, out=judged.advance_us)
    if not all_plain:
        vehicle_us += judged.offset_us
    return Places(vehicle_us, judged.missed, judged.late, judged.rebooted)


def _steps(
    frames: Counters, places: _Indices, before: _Indices, clock_before: _Indices
) -> tuple[NDArray[np.int16], NDArray[np.int64], NDArray[np.float64]]:
    """Return how far sequence number, clock and arrival went on since others; NaN: not known."""
    step = (frames.sequence[places] - frames.sequence[before]).view(np.int16)
    ahead_us = (
        frames.clock_us[places] - frames.clock_us[clock_before] + np.uint32(LATE_US)
    ).astype(np.int64)
    ahead_us -= LATE_US
    waited_us = frames.at_s[places] - frames.at_s[before]
    waited_us *= 1e6
    return step, ahead_us, np.rint(waited_us, out=waited_us)


def _is_plain(
    step: NDArray[np.int16], ahead_us: NDArray[np.int64], waited_us: NDArray[np.float64]
) -> bool:
    """Return whether each frame is the next one or few steps on, where nothing else can be said."""
    if not 1 <= step.min() <= step.max() <= MAX_FRAMES_AT_ONCE + 1 or ahead_us.min() < 0:
        return False
    if np.isnan(waited_us).all():
        return bool(ahead_us.max() < CLOCK_WRAP_US // 2)
    lag_us = waited_us - ahead_us
    return bool(lag_us.min() >= -AHEAD_US and lag_us.max() <= CLOCK_WRAP_US // 2)


def _judge(
    step: NDArray[np.int16], ahead_us: NDArray[np.int64], waited_us: NDArray[np.float64]
) -> _Judgements:
    """Return what frames are, so many steps from the state that each met.

    The rules, and their order, are those of `order.Order.place`.
    """
    known = ~np.isnan(waited_us)
    waited = np.where(known, waited_us, 0).astype(np.int64)
    late = (ahead_us < LATE_US) & ((step < 0) | ((step == 0) & (ahead_us <= 0)))
    late &= ~known | (waited <= LATE_US)
    behind = ahead_us < 0
    laps = np.rint((waited - ahead_us) / CLOCK_WRAP_US).astype(np.int64)
    laps[laps < 0] = 0
    advance_us = ahead_us + laps * CLOCK_WRAP_US
    jumped = np.where(known, advance_us > waited + AHEAD_US, ahead_us >= CLOCK_WRAP_US // 2)
    missed = (step.astype(np.int32) - 1) % SEQUENCE_WRAP
    span_us = np.where(behind, LATE_US, advance_us)
    too_many = (missed.astype(np.int64) - MAX_FRAMES_AT_ONCE) * 1_000_000 > (
        MAX_FRAMES_PER_S * span_us
    )
    rebooted = ~late & ((jumped & ~behind) | too_many)
    early_clock = behind & ~late & ~rebooted
    apart = late | early_clock
    advance_us[apart] = 0
    advance_us[rebooted] = np.maximum(waited[rebooted], 0)
    missed[late | rebooted] = 0
    return _Judgements(
        advance_us, np.where(apart, ahead_us, 0), missed, late, early_clock, rebooted
    )


def _settle(frames: Counters, judged: _Judgements) -> None:
    """Judge again, until every frame has been judged against the state that it met."""
    before = clock_before = np.arange(-1, len(frames.sequence) - 1)
    for judgements_left in reversed(range(ROUNDS + 1)):
        was_before, was_clock_before = before, clock_before
        before = _last_true(~judged.late)
        clock_before = _last_true(~(judged.late | judged.early_clock))
        unsettled = np.flatnonzero((before != was_before) | (clock_before != was_clock_before))
        if not len(unsettled):
            return
        if judgements_left:
            judged.put(
                unsettled,
                _judge(*_steps(frames, unsettled, before[unsettled], clock_before[unsettled])),
            )
    _settle_singly(frames, judged, unsettled, _States(frames, before, clock_before))


def _last_true(chosen: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return for each place the last chosen one before it; the very first counts as chosen."""
    last = np.maximum.accumulate(np.where(chosen, np.arange(len(chosen)), 0))
    return np.concatenate([np.array([-1]), last[:-1]])


@dataclass(frozen=True, slots=True)
class _States:
    """The state that each frame meets, if all frames before it are settled."""

    frames: Counters
    before: NDArray[np.intp]
    """The frame that set the sequence number and the arrival."""
    clock_before: NDArray[np.intp]
    """The frame that set the clock."""

    def order(self, place: int, vehicle_us: int) -> Order:
        """Return the state that the frame at `place` meets."""
        before = self.before[place]
        return Order(
            int(self.frames.sequence[before]),
            int(self.frames.clock_us[self.clock_before[place]]),
            vehicle_us,
            self.at_s(before),
        )

    def at_s(self, place: int) -> float | None:
        """Return the arrival of the frame at `place`."""
        at_s = float(self.frames.at_s[place])
        return None if isnan(at_s) else at_s


def _settle_singly(
    frames: Counters, judged: _Judgements, unsettled: NDArray[np.intp], states: _States
) -> None:
    """Follow the frames from each unsettled one to where the next ones are settled again."""
    count, waiting = len(frames.sequence), set(unsettled.tolist())
    place = 0
    for first in unsettled.tolist():
        if first < place:
            continue
        place, order = first, states.order(first, 0)
        while place < count and (
            place in waiting or order != states.order(place, order.vehicle_us)
        ):
            was_us = order.vehicle_us
            stands = order.place(
                int(frames.sequence[place]), int(frames.clock_us[place]), states.at_s(place)
            )
            judged.advance_us[place] = order.vehicle_us - was_us
            judged.offset_us[place] = stands.vehicle_us - order.vehicle_us
            judged.missed[place] = stands.missed
            judged.late[place] = stands.late
            judged.rebooted[place] = stands.rebooted
            place += 1
