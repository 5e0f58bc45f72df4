"""What the stabiliser does with the yaw rate: its law, its phase, its part of the work.

Owns three readings of the correction that the car reports. The law: so many percent against each
deg/s of a while ago. The response at the oscillation: coherence, gain and phase from yaw rate to
correction. The verdict: a correction that steers against the yaw rate (180 degrees) damps, one
that steers with it (0 degrees) feeds, in quadrature it does neither; signs are those of ISO 8855.
The wheel follows the report later by the servo's lag, and it is the wheel that damps: the lag is
taken off the phase before it is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import atan, atan2, degrees, pi

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.even import GRID_S, EvenMotion
from groundstation.analysis.record import Floats
from groundstation.analysis.spectrum import averaged

SEGMENT_SAMPLES = 100
LEAST_SEGMENTS = 3
LEAST_COHERENCE = 0.5
QUIET_PERCENT = 0.05
"""A correction of less, one sigma, is none."""
LONGEST_DELAY_S = 0.25
LAW_HOLDS = 0.9
"""Share of the correction's variance that a law must explain."""
OWN_ERROR_DEG = 3.0
"""One sigma of the phase from what the statistics do not know: the oscillation's frequency wanders
within a band, frames are stamped to a fraction of a millisecond."""


class Verdict(StrEnum):
    """What the correction does to the oscillation."""

    DAMPS = "damps"
    FEEDS = "feeds"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Law:
    """A correction in proportion to the yaw rate of a while ago, against it."""

    gain_percent_per_dps: float
    delay_s: float
    explained: float
    """Share of the variance, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Response:
    """From yaw rate to correction at one frequency."""

    frequency_hz: float
    coherence: float | None
    gain_percent_per_dps: float | None
    phase_deg: float | None
    """Of the reported correction before the yaw rate, -180 to 180; 180 steers against it."""
    phase_low_deg: float | None
    """95 %; not wrapped."""
    phase_high_deg: float | None
    wheel_phase_deg: float | None
    """With the servo's lag, as it is judged; None where the lag is neither told nor fitted and the
    report itself is judged."""
    verdict: Verdict
    reason: str


def law_in(motion: EvenMotion, inside: NDArray[np.bool_]) -> Law | None:
    """Return the stabiliser's law in a band; None where the car reports no correction.

    Corrections at the stabiliser's own limit are left out.
    """
    correction = motion.correction_percent
    if np.isnan(correction).any():
        return None
    most = float(np.abs(correction).max())
    at_limit = np.abs(correction) > 0.98 * most
    if at_limit.mean() > 0.02:
        inside = inside & ~at_limit
    seen = correction[inside]
    if len(seen) < 50:
        return None
    if float(seen.std()) < QUIET_PERCENT:
        return Law(0.0, 0.0, 1.0)
    t_s = motion.t_s[inside]
    centred = seen - seen.mean()

    def tried(delay_s: float) -> tuple[float, float]:
        then = np.interp(t_s - delay_s, motion.t_s, motion.yaw_rate_dps)
        then = then - then.mean()
        power = float(then @ then)
        slope = float(then @ centred) / power if power > 0.0 else 0.0
        return float(np.mean((centred - slope * then) ** 2)), slope

    delays_s = np.arange(0.0, LONGEST_DELAY_S, 0.005)
    best_s = float(delays_s[np.argmin([tried(each)[0] for each in delays_s.tolist()])])
    near_s = np.maximum(best_s + np.arange(-0.004, 0.0045, 0.001), 0.0)
    best_s = float(near_s[np.argmin([tried(each)[0] for each in near_s.tolist()])])
    missed, slope = tried(best_s)
    return Law(-slope, best_s, 1.0 - missed / float(centred.var()))


def response_at(
    motion: EvenMotion,
    band_mps: tuple[float, float],
    frequency_hz: float,
    *,
    servo_lag_s: float | None,
    servo_sigma_s: float = 0.0,
    law: Law | None = None,
) -> Response:
    """Return how the correction answers the yaw rate at a frequency, and whether that damps.

    A law that holds tells the phase more surely than the spectra do, and in shorter bands.

    Args:
        motion: The pass.
        band_mps: The part of it, by speed.
        frequency_hz: Of the oscillation.
        servo_lag_s: Time constant from the reported correction to the wheel; None: as reported.
        servo_sigma_s: One sigma of that.
        law: Of the correction in this band, where there is one.
    """
    omega = 2.0 * pi * frequency_hz

    def judged(phase_deg: float, own_deg: float) -> tuple[float | None, Verdict, str]:
        lag_deg = 0.0 if servo_lag_s is None else degrees(atan(omega * servo_lag_s))
        lag_sigma_deg = degrees(omega * servo_sigma_s / (1.0 + (omega * (servo_lag_s or 0.0)) ** 2))
        at_deg = wrapped_deg(phase_deg - lag_deg)
        # Only one side is neutral's: a verdict is wrong in 5 of 100 cases at worst.
        reach_deg = 1.645 * float(np.hypot(own_deg, lag_sigma_deg))
        where = "as reported" if servo_lag_s is None else "at the wheel"
        reason = f"{at_deg:.0f} ± {reach_deg:.0f} degrees {where}; 180 damps, 90 is neutral"
        return None if servo_lag_s is None else at_deg, verdict_of(at_deg, reach_deg), reason

    holds = law is not None and law.explained >= LAW_HOLDS and law.gain_percent_per_dps != 0.0
    by_law = None
    if law is not None and holds:
        turned_deg = 180.0 if law.gain_percent_per_dps > 0.0 else 0.0
        by_law = judged(turned_deg - degrees(omega * law.delay_s), OWN_ERROR_DEG)

    def unknown(reason: str) -> Response:
        none = (None,) * 5
        if by_law is None:
            return Response(frequency_hz, *none, None, Verdict.CANNOT_TELL, reason)
        return Response(frequency_hz, *none, *by_law)

    correction = motion.correction_percent
    if np.isnan(correction).any():
        return unknown("the car reports no correction")
    inside = motion.inside(band_mps)
    if float(correction[inside].std()) < QUIET_PERCENT:
        return unknown("the stabiliser does nothing here")
    starts = motion.segments(band_mps, SEGMENT_SAMPLES)
    if len(starts) < LEAST_SEGMENTS:
        return unknown(f"only {len(starts)} stretches of {SEGMENT_SAMPLES * GRID_S:.2f} s")
    spectra = averaged(
        motion.yaw_rate_dps,
        correction,
        starts=starts,
        length=SEGMENT_SAMPLES,
        step_s=GRID_S,
        frequency_hz=np.array([frequency_hz]),
    )
    coherence = float(spectra.coherence[0])
    # Of unrelated signals the coherence of n averages is below this in 95 of 100 cases.
    chance = 1.0 - 0.05 ** (1.0 / max(len(starts) - 1, 1))
    if coherence < max(LEAST_COHERENCE, chance):
        return unknown(f"yaw rate and correction hardly go together (coherence {coherence:.2f})")
    transfer = complex(spectra.crossed[0]) / float(spectra.first[0])
    phase_deg = degrees(atan2(transfer.imag, transfer.real))
    own_deg = float(np.hypot(degrees(float(spectra.phase_sigma_rad()[0])), OWN_ERROR_DEG))
    wheel_deg, verdict, reason = by_law or judged(phase_deg, own_deg)
    return Response(
        frequency_hz=frequency_hz,
        coherence=coherence,
        gain_percent_per_dps=abs(transfer),
        phase_deg=phase_deg,
        phase_low_deg=phase_deg - 1.96 * own_deg,
        phase_high_deg=phase_deg + 1.96 * own_deg,
        wheel_phase_deg=wheel_deg,
        verdict=verdict,
        reason=reason,
    )


def verdict_of(phase_deg: float, reach_deg: float) -> Verdict:
    """Return the verdict on a phase that is known to `reach_deg` either way."""
    off_deg = abs(wrapped_deg(phase_deg - 180.0))
    if off_deg + reach_deg < 90.0:
        return Verdict.DAMPS
    if off_deg - reach_deg > 90.0:
        return Verdict.FEEDS
    return Verdict.CANNOT_TELL


def wrapped_deg(angle_deg: float) -> float:
    """Return an angle from -180 to 180, 180 included."""
    return 180.0 - (180.0 - angle_deg) % 360.0


def work_shares(steering: Floats, correction: Floats) -> tuple[float, float] | None:
    """Return the driver's and the stabiliser's share of the energy of the commands.

    Args:
        steering: The driver's, band-passed.
        correction: The stabiliser's, likewise.
    """
    driver, stabiliser = float(steering @ steering), float(correction @ correction)
    total = driver + stabiliser
    return (driver / total, stabiliser / total) if total > 0.0 else None
