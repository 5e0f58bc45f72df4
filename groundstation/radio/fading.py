"""How deep a radio link fades, how often and for how long.

Owns fast fading (Rayleigh, Rician), slow shadowing (log-normal), what two or more aerials gain by
selection, and the rhythm of fades at a speed. A margin is how far the level stands above the
threshold. Rule: every fast-fading margin says what it counts from, the mean power or the median;
they differ by 1.6 dB without a direct wave. Formulas: T. S. Rappaport, Wireless Communications,
2nd ed., chapters 5 and 7 (from memory).
"""

from __future__ import annotations

from enum import StrEnum
from math import log, log10
from statistics import NormalDist

import numpy as np

from groundstation.radio.propagation import Array, Numbers, wavelength_m


class CountedFrom(StrEnum):
    """What a fade margin is counted from."""

    MEAN = "mean"
    """The mean of the received power in watts, over the fading."""
    MEDIAN = "median"
    """The level exceeded half of the time, which is also the median in decibels."""


def rayleigh_outage(margin_db: Numbers, *, counted_from: CountedFrom) -> Array:
    """Return the share of time under the threshold, with no direct wave."""
    threshold = np.power(10.0, -np.asarray(margin_db) / 10.0)
    if counted_from is CountedFrom.MEDIAN:
        threshold = threshold * log(2.0)
    return np.asarray(-np.expm1(-threshold))


def rayleigh_margin_db(outage: Numbers, *, counted_from: CountedFrom) -> Array:
    """Return the margin that keeps the share of time under the threshold to `outage`."""
    threshold = -np.log1p(-np.asarray(outage))
    whole = 1.0 if counted_from is CountedFrom.MEAN else log(2.0)
    return np.asarray(10.0 * np.log10(whole / threshold))


def rician_outage(margin_db: Numbers, *, k_db: float, counted_from: CountedFrom) -> Array:
    """Return the share of time under the threshold, with a direct wave.

    The power is noncentral chi-square with 2 degrees of freedom and noncentrality 2K.

    Args:
        margin_db: Of the mean or median power over the threshold.
        k_db: Power of the direct wave over that of all scattered waves together; minus infinity
            is Rayleigh fading.
        counted_from: What the margin is counted from.
    """
    from scipy.special import chndtr

    direct = 2.0 * 10.0 ** (k_db / 10.0)
    threshold = _whole(counted_from, direct) * np.power(10.0, -np.asarray(margin_db) / 10.0)
    return np.asarray(chndtr(threshold, 2.0, direct))


def rician_margin_db(outage: Numbers, *, k_db: float, counted_from: CountedFrom) -> Array:
    """Return the margin that keeps the share of time under the threshold to `outage`.

    Arguments as for `rician_outage`.
    """
    from scipy.special import chndtrix

    direct = 2.0 * 10.0 ** (k_db / 10.0)
    threshold = chndtrix(np.asarray(outage), 2.0, direct)
    return np.asarray(10.0 * np.log10(_whole(counted_from, direct) / threshold))


def shadowing_margin_db(outage: float, *, sigma_db: Numbers) -> Array:
    """Return the margin over the local median that log-normal shadowing asks for.

    Sigma times the standard normal quantile, above which a share of `outage` lies.
    """
    return np.asarray(-NormalDist().inv_cdf(outage) * np.asarray(sigma_db))


def selection_outage(margin_db: Numbers, *, aerials: int) -> Array:
    """Return the share of time in which every aerial is under the threshold.

    Independent Rayleigh fading of equal mean; the margin is that of each mean power.
    """
    return np.asarray(rayleigh_outage(margin_db, counted_from=CountedFrom.MEAN) ** aerials)


def selection_margin_db(outage: Numbers, *, aerials: int) -> Array:
    """Return the margin of each aerial's mean power that keeps to `outage`; the inverse."""
    one_aerial = np.power(np.asarray(outage), 1.0 / aerials)
    return rayleigh_margin_db(one_aerial, counted_from=CountedFrom.MEAN)


def selection_gain_db(aerials: int) -> float:
    """Return what choosing the best aerial adds to the mean power: 1 + 1/2 + ... + 1/N."""
    return 10.0 * log10(sum(1.0 / count for count in range(1, aerials + 1)))


def maximum_doppler_hz(speed_mps: float, frequency_hz: float) -> float:
    """Return the largest Doppler shift, v / lambda; fades are half a wavelength apart."""
    return speed_mps / wavelength_m(frequency_hz)


def crossing_rate_per_s(margin_db: Numbers, maximum_doppler_hz: float) -> Array:
    """Return how often a Rayleigh-fading level falls through the threshold.

    sqrt(2 pi) f rho exp(-rho^2), rho the threshold's amplitude over the root mean square; the
    margin is that of the mean power, 0 dB at rho = 1.
    """
    ratio = np.power(10.0, -np.asarray(margin_db) / 20.0)
    return np.asarray(np.sqrt(2.0 * np.pi) * maximum_doppler_hz * ratio * np.exp(-(ratio**2)))


def fade_duration_s(margin_db: Numbers, maximum_doppler_hz: float) -> Array:
    """Return how long a Rayleigh fade under the threshold lasts, on average.

    (exp(rho^2) - 1) / (sqrt(2 pi) f rho): the outage over the crossing rate.
    """
    ratio = np.power(10.0, -np.asarray(margin_db) / 20.0)
    return np.asarray(np.expm1(ratio**2) / (np.sqrt(2.0 * np.pi) * maximum_doppler_hz * ratio))


def _whole(counted_from: CountedFrom, direct: float) -> float:
    """Return the mean or the median of a noncentral chi-square power, 2 degrees of freedom."""
    from scipy.special import chndtrix

    return 2.0 + direct if counted_from is CountedFrom.MEAN else float(chndtrix(0.5, 2.0, direct))
