"""Spectra of short stretches, averaged: how strong, how alike and how late two signals are.

Owns Welch's method with a Hann window at any frequencies, not only at a transform's own: the
stretches of a pass are short and an oscillation rarely falls on a bin. Densities are one-sided.

P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE
Transactions on Audio and Electroacoustics 15, 1967.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats

INDEPENDENT_SHARE = 0.947
"""Of half-overlapping Hann segments: 1 / (1 + 2/36), the windows' correlation being 1/6 (Welch)."""


@dataclass(frozen=True, slots=True, eq=False)
class Spectra:
    """Averages over segments, at each frequency."""

    frequency_hz: Floats
    first: Floats
    """Power density of the first signal."""
    second: Floats
    crossed: NDArray[np.complex128]
    """Its phase is that of the second signal before the first."""
    segments: int

    @property
    def coherence(self) -> Floats:
        """How far a straight relation explains one by the other, 0 to 1; 1 for a single segment."""
        return np.abs(self.crossed) ** 2 / np.maximum(self.first * self.second, 1e-300)

    def phase_sigma_rad(self) -> Floats:
        """Return the phase's standard error (Bendat and Piersol, "Random Data", from memory)."""
        square = np.clip(self.coherence, 1e-6, 1.0)
        count = max(self.segments * INDEPENDENT_SHARE, 1.0)
        return np.sqrt((1.0 - square) / (2.0 * count * square))


def averaged(
    first: Floats,
    second: Floats,
    *,
    starts: NDArray[np.intp],
    length: int,
    step_s: float,
    frequency_hz: Floats,
) -> Spectra:
    """Return spectra averaged over segments, each without its mean.

    Args:
        first: (n) evenly sampled.
        second: (n) likewise.
        starts: Where the segments begin; at least one.
        length: Samples a segment.
        step_s: Between samples.
        frequency_hz: (m) where to look.
    """
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(length) / length)
    rows = starts[:, None] + np.arange(length)
    turning = np.exp(-2j * np.pi * step_s * np.outer(np.arange(length), frequency_hz))
    turning *= window[:, None]
    one, other = (
        (signal[rows] - signal[rows].mean(axis=1, keepdims=True)) @ turning
        for signal in (first, second)
    )
    density = 2.0 * step_s / float(window @ window)
    return Spectra(
        frequency_hz=frequency_hz,
        first=density * np.mean(np.abs(one) ** 2, axis=0),
        second=density * np.mean(np.abs(other) ** 2, axis=0),
        crossed=density * np.mean(other * one.conj(), axis=0),
        segments=len(starts),
    )


def band_passed(signal: Floats, *, step_s: float, low_hz: float, high_hz: float) -> Floats:
    """Return a signal without what is slower than `low_hz` or faster than `high_hz`.

    By its transform with edges of a raised cosine, so without a shift in time. A straight line from
    the first to the last value is taken away before.
    """
    count = len(signal)
    line = np.linspace(signal[0], signal[-1], count)
    padded = 1 << (2 * count - 1).bit_length()
    frequency_hz = np.fft.rfftfreq(padded, step_s)

    def risen(edge_hz: float) -> Floats:
        place = np.clip((frequency_hz / edge_hz - 0.8) / 0.4, 0.0, 1.0)
        return np.asarray(0.5 - 0.5 * np.cos(np.pi * place))

    shape = risen(low_hz) * (1.0 - risen(high_hz))
    return np.fft.irfft(np.fft.rfft(signal - line, padded) * shape, padded)[:count]


def rms(values: Floats) -> float:
    """Return the root of the mean square; 0 of nothing."""
    return sqrt(float(np.mean(values**2))) if len(values) else 0.0
