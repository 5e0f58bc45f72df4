"""Loss by sequence numbers."""

from __future__ import annotations

import pytest

from groundstation.vehicle.loss import Loss


def test_published_stream_of_sequence_numbers() -> None:
    # RFC 3550 A.3 (from memory): 12 expected, 8 received, 4 lost is 33.3 %.
    loss = Loss()
    for missed in (0, 0, 1, 1, 0, 0, 2, 0):
        if missed:
            loss.missed(0.0, missed)
        loss.received(0.0, late=False)
    assert (loss.frames, loss.lost) == (8, 4)
    assert loss.ratio == pytest.approx(1 / 3)


def test_nothing_received_is_no_ratio() -> None:
    assert Loss().ratio is None
    assert Loss().recent(10.0) == (None, None)


def test_an_overtaken_frame_was_not_lost_after_all() -> None:
    loss = Loss()
    loss.received(0.0, late=False)
    loss.missed(0.1, 1)
    loss.received(0.1, late=False)
    loss.received(0.1, late=True)
    assert (loss.frames, loss.lost, loss.ratio) == (3, 0, 0.0)


def test_a_frame_heard_twice_takes_nothing_back() -> None:
    loss = Loss()
    loss.received(0.0, late=False)
    loss.received(0.0, late=True)
    assert (loss.frames, loss.lost) == (2, 0)


def test_recent_figures_forget_what_is_over() -> None:
    loss = Loss()
    for tick in range(1000):
        if tick == 300:
            loss.missed(3.0, 500)
        loss.received(tick * 0.01, late=False)
    ratio, frames_per_s = loss.recent(10.0)
    assert ratio == 0.0
    assert frames_per_s == pytest.approx(100.0, rel=0.05)
    assert loss.recent(30.0) == (None, 0.0)


def test_memory_is_bounded() -> None:
    loss = Loss()
    for second in range(3600):
        loss.received(float(second), late=False)
    assert len(loss.seconds) < 10
