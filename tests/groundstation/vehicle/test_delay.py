"""Lateness and jitter of frames."""

from __future__ import annotations

import pytest

from groundstation.vehicle.delay import ENVELOPE_S, Delay


def test_jitter_after_rfc_3550() -> None:
    # RFC 3550 6.4.1: D = 10, -10, 20, 0 gives .625, 1.210938, 2.385254, 2.236176.
    delay, offset_s = Delay(), 0.0
    delay.take(0.0, 0.0)
    seen = []
    for step, change_s in enumerate((10.0, -10.0, 20.0, 0.0), start=1):
        offset_s += change_s
        delay.take(step * 100.0, step * 100.0 + offset_s)
        seen.append(delay.jitter)
    assert seen == pytest.approx([0.625, 1.210938, 2.385254, 2.236176], abs=1e-6)


def test_latency_is_measured_from_the_lower_envelope() -> None:
    delay = Delay()
    for count, extra_s in enumerate((0.010, 0.002, 0.030)):
        delay.take(count * 0.1, 5.0 + count * 0.1 + extra_s)
    assert delay.envelope_s == pytest.approx(5.002)
    assert delay.latency_s == pytest.approx(0.028)


def test_a_drifting_oscillator_does_not_pile_up() -> None:
    delay, drift = Delay(), 100e-6
    for count in range(36_000):
        at_s = count * 0.1
        delay.take(at_s * (1 - drift), at_s)
    # One hour at 100 ppm is 360 ms; within the window only 6 ms of it can be seen.
    assert delay.latency_s == pytest.approx(0.0, abs=drift * (ENVELOPE_S + 2))
    assert len(delay.seconds) <= ENVELOPE_S + 1


def test_unknown_before_there_is_anything() -> None:
    delay = Delay()
    assert (delay.latency_s, delay.jitter, delay.envelope_s) == (None, None, None)
    delay.take(1.0, 2.0)
    assert (delay.latency_s, delay.jitter) == (0.0, None)


def test_a_reboot_begins_a_new_envelope() -> None:
    delay = Delay()
    delay.take(100.0, 100.0)
    delay.restart()
    delay.take(0.0, 105.0)
    assert delay.latency_s == 0.0
