"""Damping from a swing that dies away: the logarithmic decrement.

Owns the formulas and the search for free decays in an oscillation that a rough road keeps going:
only a run of extremes that stands well out of the rest and falls evenly is taken for one. It is of
no use above a damping ratio of about 0.5, where hardly a second swing is left.

Formulas: any text on vibrations.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.spectrum import rms

LEAST_EXTREMES = 5
"""Of a decay: two whole swings."""
STANDS_OUT = 2.5
"""Its first extreme, over the rms of all."""
EVENNESS = 0.97
"""Least square of the correlation of the extremes' logarithms with their number."""


@dataclass(frozen=True, slots=True)
class Decay:
    """A free decay."""

    start_s: float
    frequency_hz: float
    damping_ratio: float


def damping_of(decrement: float) -> float:
    """Return the damping ratio of a logarithmic decrement: ln of one swing over the next."""
    return decrement / sqrt(4.0 * pi * pi + decrement * decrement)


def free_decays(t_s: Floats, swing: Floats) -> list[Decay]:
    """Return the free decays in a band-passed oscillation.

    Args:
        t_s: (n) even.
        swing: (n) around zero.
    """
    crossings = np.flatnonzero(np.signbit(swing[1:]) != np.signbit(swing[:-1])) + 1
    if len(crossings) < LEAST_EXTREMES + 1:
        return []
    size = np.maximum.reduceat(np.abs(swing), crossings[:-1])
    least = STANDS_OUT * rms(swing)
    decays: list[Decay] = []
    at = 0
    while at + LEAST_EXTREMES <= len(size):
        end = at + 1
        while end < len(size) and size[end] < size[end - 1]:
            end += 1
        # A free decay ends in the road's own unrest.
        fallen = size[at:end]
        usable = fallen[fallen > 0.5 * rms(swing)]
        if len(usable) >= LEAST_EXTREMES and usable[0] >= least:
            numbers = np.arange(len(usable))
            slope = float(np.polyfit(numbers, np.log(usable), 1)[0])
            if np.corrcoef(numbers, np.log(usable))[0, 1] ** 2 >= EVENNESS:
                # The first lobe may have begun before the kick.
                took_s = t_s[crossings[at + len(usable)]] - t_s[crossings[at + 1]]
                decays.append(
                    Decay(
                        start_s=float(t_s[crossings[at]]),
                        frequency_hz=float((len(usable) - 1) / (2.0 * took_s)),
                        damping_ratio=damping_of(-2.0 * slope),
                    )
                )
        at = end
    return decays
