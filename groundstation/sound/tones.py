"""What a tone sounds like: its samples, without a click at either end or between two. Pure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

SAMPLE_RATE_HZ = 48_000

LOUDNESS = 0.7
"""Peak of a tone, of full scale."""

RAMP_S = 0.008
"""A tone swells and dies away in this time: short enough for a beat, long enough not to click."""

Samples = NDArray[np.float32]


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
