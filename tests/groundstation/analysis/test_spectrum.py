"""Averaged spectra, beside the reference implementation."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
from scipy import signal

from groundstation.analysis.spectrum import averaged, band_passed, rms


def test_spectra_are_those_of_the_reference() -> None:
    source = np.random.default_rng(5)
    first = source.standard_normal(2000)
    second = np.roll(first, 3) * 0.7 + 0.4 * source.standard_normal(2000)
    length, step_s = 128, 0.01
    settings = {"fs": 1.0 / step_s, "window": "hann", "nperseg": length}
    frequency_hz, power = signal.welch(first, **settings)
    _, crossed = signal.csd(first, second, **settings)
    _, coherence = signal.coherence(first, second, **settings)
    found = averaged(
        first,
        second,
        starts=np.arange(0, 2000 - length + 1, length // 2),
        length=length,
        step_s=step_s,
        frequency_hz=frequency_hz,
    )
    inner = slice(1, -1)  # the reference halves both ends of a one-sided density
    assert found.first[inner] == pytest.approx(power[inner])
    assert found.crossed[inner] == pytest.approx(crossed[inner])
    assert found.coherence[inner] == pytest.approx(coherence[inner])


def test_a_sine_of_20_has_a_band_rms_of_14_142() -> None:
    # 20 deg/s at 2.5 Hz: 20 / sqrt(2), the peak of the spectrum at 2.5 Hz.
    t_s = np.arange(0.0, 40.0, 0.01)
    sine = 20.0 * np.sin(2.0 * pi * 2.5 * t_s)
    frequency_hz = np.arange(0.0, 50.0, 0.25)
    found = averaged(
        sine,
        sine,
        starts=np.arange(0, len(sine) - 399, 200),
        length=400,
        step_s=0.01,
        frequency_hz=frequency_hz,
    )
    assert frequency_hz[np.argmax(found.first)] == 2.5
    assert sqrt(float(found.first.sum()) * 0.25) == pytest.approx(14.1421, abs=5e-4)
    passed = band_passed(sine, step_s=0.01, low_hz=0.8, high_hz=10.0)
    assert rms(passed[500:-500]) == pytest.approx(14.1421, rel=2e-3)


def test_a_band_pass_takes_away_what_is_slow_and_what_is_fast() -> None:
    t_s = np.arange(0.0, 20.0, 0.01)
    wanted = np.sin(2.0 * pi * 3.0 * t_s)
    others = 5.0 * t_s + 3.0 * np.sin(2.0 * pi * 0.2 * t_s) + np.sin(2.0 * pi * 25.0 * t_s)
    passed = band_passed(wanted + others, step_s=0.01, low_hz=0.8, high_hz=10.0)
    assert passed[300:-300] == pytest.approx(wanted[300:-300], abs=0.05)
