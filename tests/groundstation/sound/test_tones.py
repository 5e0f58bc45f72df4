"""Tones, judged by their spectrum and their waveform."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.sound.pitch import frequency_hz
from groundstation.sound.tones import (
    LOUDNESS,
    RAMP_S,
    SAMPLE_RATE_HZ,
    Samples,
    crossfade,
    tone,
)


def spectrum(samples: Samples) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies and power, padded for a fine grid."""
    power = np.abs(np.fft.rfft(samples, 8 * SAMPLE_RATE_HZ // 4)) ** 2
    return np.fft.rfftfreq(8 * SAMPLE_RATE_HZ // 4, 1 / SAMPLE_RATE_HZ), power


def steepest(pitch_hz: float) -> float:
    """Return the largest step between two samples of a sine with the envelope's own rise."""
    return LOUDNESS * (2 * np.pi * pitch_hz + np.pi / (2 * RAMP_S)) / SAMPLE_RATE_HZ


@pytest.mark.parametrize("margin_db", [0.0, 3.0, 10.0, 20.0])
@pytest.mark.parametrize("sounding_s", [0.1, 0.15, 0.24])
def test_a_tone_is_one_line_of_the_spectrum(margin_db: float, sounding_s: float) -> None:
    pitch_hz = frequency_hz(margin_db)
    samples = tone(pitch_hz, sounding_s)
    assert samples.dtype == np.float32
    assert samples.size == round(sounding_s * SAMPLE_RATE_HZ)
    frequencies_hz, power = spectrum(samples)
    assert frequencies_hz[power.argmax()] == pytest.approx(pitch_hz, abs=1.0)
    near = np.abs(frequencies_hz - pitch_hz) < 30.0
    assert power[near].sum() > 0.98 * power.sum()


@pytest.mark.parametrize("pitch_hz", [600.0, 1234.5, 2400.0])
def test_a_tone_does_not_click(pitch_hz: float) -> None:
    samples = tone(pitch_hz, 0.15)
    # A tone cut off hard spreads a click far away from its pitch; this one is 40 dB quieter there.
    turns = np.arange(samples.size) * pitch_hz / SAMPLE_RATE_HZ
    hard = (LOUDNESS * np.cos(2 * np.pi * turns)).astype(np.float32)
    frequencies_hz, power = spectrum(samples)
    _, hard_power = spectrum(hard)
    far = frequencies_hz > pitch_hz + 1500.0
    assert power[far].sum() < 1e-4 * hard_power[far].sum()
    around = np.concatenate([[0.0], samples, [0.0]])
    assert np.abs(np.diff(around)).max() <= steepest(pitch_hz)
    assert np.abs(samples).max() == pytest.approx(LOUDNESS, rel=0.01)


@pytest.mark.parametrize("cut", [1, 50, 383, 384, 385, 2000, 7199])
def test_a_tone_that_is_cut_into_dies_away(cut: int) -> None:
    first, second = tone(600.0, 0.15), tone(2400.0, 0.1)
    heard = np.concatenate([first[:cut], crossfade(first[cut:], second)])
    assert np.abs(np.diff(heard)).max() <= steepest(600.0) + steepest(2400.0)
    ramp_samples = round(RAMP_S * SAMPLE_RATE_HZ)
    # Once the old tone is gone, only the new one is left.
    assert np.array_equal(heard[cut + ramp_samples :], second[ramp_samples:])


def test_after_silence_a_tone_is_itself() -> None:
    second = tone(900.0, 0.1)
    assert np.array_equal(crossfade(np.zeros(0, dtype=np.float32), second), second)


def test_the_shortest_tone_is_still_a_tone() -> None:
    assert tone(900.0, 0.0).size == 2
