"""What a tone sounds like: its pitch from the stop margin, its samples without a click.

Pure. The less is left, the higher the pitch: it falls by an octave per 10 dB of margin, from
2400 Hz at none to 1949 Hz at 3 dB, 1200 Hz at 10 dB, 600 Hz at 20 dB and more. Ears and small
loudspeakers are at their best between 500 Hz and 3 kHz (common practice, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SAMPLE_RATE_HZ = 48_000

HIGHEST_HZ = 2400.0
DECIBELS_PER_OCTAVE = 10.0
GREATEST_MARGIN_DB = 20.0

LOUDNESS = 0.7
"""Peak of a tone, of full scale."""

RAMP_S = 0.008
"""A tone swells and dies away in this time: short enough for a beat, long enough not to click."""

Samples = NDArray[np.float32]


def frequency_hz(stop_margin_db: float) -> float:
    """Return the pitch for a margin at the stopping point; monotone, held at both ends."""
    margin_db = min(max(stop_margin_db, 0.0), GREATEST_MARGIN_DB)
    return float(HIGHEST_HZ * 2.0 ** (-margin_db / DECIBELS_PER_OCTAVE))


def tone(pitch_hz: float, sounding_s: float) -> Samples:
    """Return the samples of one beat: a sine under a raised-cosine envelope, from zero to zero."""
    count = max(round(sounding_s * SAMPLE_RATE_HZ), 2)
    turns = np.arange(count) * (pitch_hz / SAMPLE_RATE_HZ)
    wave: NDArray[np.float64] = LOUDNESS * np.sin(2.0 * np.pi * turns)
    ramp = _ramp(min(round(RAMP_S * SAMPLE_RATE_HZ), count // 2))
    wave[: ramp.size] *= ramp
    wave[count - ramp.size :] *= ramp[::-1]
    return wave.astype(np.float32)


def crossfade(playing: Samples, following: Samples) -> Samples:
    """Return what is heard when a tone begins while another one sounds: neither clicks.

    Args:
        playing: What is left of the one.
        following: All of the other.
    """
    ramp = _ramp(round(RAMP_S * SAMPLE_RATE_HZ))[::-1]
    fading = playing[: ramp.size] * ramp[: playing.size]
    mixed = np.zeros(max(fading.size, following.size), dtype=np.float32)
    mixed[: following.size] = following
    mixed[: fading.size] += fading
    return np.clip(mixed, -1.0, 1.0)


def _ramp(count: int) -> NDArray[np.float64]:
    """Return a raised cosine from nearly zero to nearly one."""
    swelling: NDArray[np.float64] = 0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / count)
    return swelling
