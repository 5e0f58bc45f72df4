"""The yaw oscillation of a pass, by speed band: how fast, how large, how damped, and who steers.

Owns the joining of spectrum, decay, fit and stabiliser into one frozen result a band. The closed
loop is meant, car and stabiliser together with the driver's hands still. Where the data do not
carry a figure it is None, with the reason beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, radians

import numpy as np

from groundstation.analysis.decrement import free_decays
from groundstation.analysis.even import GRID_S, EvenMotion
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.analysis.spectrum import averaged, band_passed, rms
from groundstation.analysis.stabiliser import (
    LAW_HOLDS,
    LEAST_SEGMENTS,
    SEGMENT_SAMPLES,
    Law,
    Response,
    law_in,
    response_at,
    work_shares,
)
from groundstation.analysis.yaw_fit import CarFit, fit_car
from groundstation.analysis.yaw_grid import motion_of
from groundstation.analysis.yaw_model import CarGeometry, Plant, closed_loop_mode

SWAY_HZ = (0.8, 10.0)
"""Where a small car's yaw oscillation lies: slower is the driver on his way back to the line."""
PEAK_STANDS_OUT = 2.0
"""A spectrum's peak over its mean within `SWAY_HZ`."""
WIDEST = 0.5
"""Of a damping ratio's interval: beyond it there is nothing to tell."""
DRAWS = 60
"""Cars drawn from the fit's uncertainty, for intervals."""


@dataclass(frozen=True, slots=True)
class YawBand:
    """The oscillation in one speed band of one pass."""

    from_mps: float
    to_mps: float
    mean_speed_mps: float
    seconds: float
    """Spent in it."""
    rms_dps: float
    """Of yaw rate within `SWAY_HZ`."""
    peak_dps: float
    spectrum_hz: float | None
    """Where yaw rate is strongest; None where nothing stands out."""
    mode_hz: float | None
    """Of the closed loop's yaw mode, by the fit."""
    mode_low_hz: float | None
    """95 %, like all intervals here."""
    mode_high_hz: float | None
    damping_ratio: float | None
    """Of the same; negative where it grows."""
    damping_low: float | None
    damping_high: float | None
    without_stabiliser: float | None
    """Damping ratio that the same car would have with the correction off: an extrapolation."""
    damping_reason: str
    """Why there is no damping ratio; empty where there is one."""
    decays: int
    """Free decays found."""
    decay_damping_ratio: float | None
    """Median by logarithmic decrement; None where no free decay was found."""
    driver_share: float | None
    """Of the energy of the steering commands within `SWAY_HZ`, 0 to 1."""
    stabiliser_share: float | None
    law: Law | None
    """Of the stabiliser; None where it is not reported."""
    response: Response | None
    """From yaw rate to correction at the oscillation; None where its frequency is not known."""


@dataclass(frozen=True, slots=True)
class YawFigures:
    """A pass's yaw."""

    pass_number: int
    bands: tuple[YawBand, ...]
    """Slowest first."""
    reason: str
    """Why there are none; empty where there are."""


def yaw_of(record: Record, span: PassSpan, geometry: CarGeometry | None = None) -> YawFigures:
    """Return a pass's yaw oscillation by speed band.

    Args:
        record: The recording.
        span: The pass.
        geometry: What is known of the car; each number narrows the intervals.
    """
    motion = EvenMotion.of(record, span)
    if motion is None:
        return YawFigures(span.number, (), "less than a second of yaw rate was heard")
    bands = motion.bands_mps()
    if not bands:
        return YawFigures(span.number, (), "no speed above 10 m/s was held for a second")
    fit, reason = _fitted(record, span, geometry or CarGeometry())
    low_hz, high_hz = SWAY_HZ
    swing, steering, correction = (
        band_passed(signal, step_s=GRID_S, low_hz=low_hz, high_hz=high_hz)
        for signal in (motion.yaw_rate_dps, motion.steering_percent, motion.correction_percent)
    )
    plants = fit.draws(DRAWS) if fit else None
    return YawFigures(
        span.number,
        tuple(
            _band(motion, band_mps, (swing, steering, correction), fit, plants, reason)
            for band_mps in bands
        ),
        "",
    )


def _fitted(record: Record, span: PassSpan, geometry: CarGeometry) -> tuple[CarFit | None, str]:
    grid = motion_of(record, span)
    if grid is None:
        return None, "too little of the pass was heard, or steering or correction is not reported"
    try:
        return fit_car(grid, geometry), ""
    except np.linalg.LinAlgError:
        return None, "the car does not move like a car on four tyres"


def _band(
    motion: EvenMotion,
    band_mps: tuple[float, float],
    signals: tuple[Floats, Floats, Floats],
    fit: CarFit | None,
    plants: Plant | None,
    reason: str,
) -> YawBand:
    swing, steering, correction = signals
    inside = motion.inside(band_mps)
    mean_mps = float(motion.speed_mps[inside].mean())
    law = law_in(motion, inside)
    ratios, modes_hz = None, None
    without = None
    if law is None:
        reason = reason or "the car reports no correction"
    elif law.explained < LAW_HOLDS:
        reason = reason or "the correction does not simply follow the yaw rate"
    elif plants is not None:
        gain_s = law.gain_percent_per_dps / 100.0 / radians(1.0)
        ratios, modes_hz = closed_loop_mode(
            plants, speed_mps=mean_mps, gain_s=gain_s, delay_s=law.delay_s
        )
        own = closed_loop_mode(plants, speed_mps=mean_mps, gain_s=0.0, delay_s=law.delay_s)[0]
        without = float(own[0])
    spectrum_hz = _spectrum_hz(motion, band_mps)
    swings = modes_hz is not None and modes_hz[0] > 0.0
    at_hz = float(modes_hz[0]) if modes_hz is not None and swings else spectrum_hz
    response = None
    if at_hz is not None:
        lag_s = exp(fit.parameters[4]) if fit else None
        lag_sigma_s = lag_s * float(fit.covariance[4, 4]) ** 0.5 if fit and lag_s else 0.0
        response = response_at(
            motion, band_mps, at_hz, servo_lag_s=lag_s, servo_sigma_s=lag_sigma_s, law=law
        )
    decays = [
        decay
        for decay in free_decays(motion.t_s, swing)
        if _starts_in(decay.start_s, motion, inside)
    ]
    shares = None
    if not np.isnan(steering).any() and not np.isnan(correction).any():
        shares = work_shares(steering[inside], correction[inside])
    ratio, ratio_low, ratio_high = _with_interval(ratios)
    if ratio_low is not None and ratio_high is not None and ratio_high - ratio_low > WIDEST:
        reason = f"anything from {ratio_low:.2f} to {ratio_high:.2f} fits"
        ratio = ratio_low = ratio_high = without = None
        swings = False
    mode_hz, mode_low_hz, mode_high_hz = _with_interval(modes_hz if swings else None)
    return YawBand(
        from_mps=band_mps[0],
        to_mps=band_mps[1],
        mean_speed_mps=mean_mps,
        seconds=float(inside.sum()) * GRID_S,
        rms_dps=rms(swing[inside]),
        peak_dps=float(np.abs(swing[inside]).max()),
        spectrum_hz=spectrum_hz,
        mode_hz=mode_hz,
        mode_low_hz=mode_low_hz,
        mode_high_hz=mode_high_hz,
        damping_ratio=ratio,
        damping_low=ratio_low,
        damping_high=ratio_high,
        without_stabiliser=without,
        damping_reason="" if ratio is not None else reason,
        decays=len(decays),
        decay_damping_ratio=float(np.median([each.damping_ratio for each in decays]))
        if decays
        else None,
        driver_share=shares[0] if shares else None,
        stabiliser_share=shares[1] if shares else None,
        law=law,
        response=response,
    )


def _starts_in(start_s: float, motion: EvenMotion, inside: np.ndarray) -> bool:
    return bool(inside[min(int(np.searchsorted(motion.t_s, start_s)), len(inside) - 1)])


def _with_interval(values: Floats | None) -> tuple[float | None, float | None, float | None]:
    """Return the fitted value, and between which values 95 % of the drawn ones lie."""
    if values is None:
        return None, None, None
    low, high = np.quantile(values[1:], (0.025, 0.975)).tolist()
    return float(values[0]), min(low, float(values[0])), max(high, float(values[0]))


def _spectrum_hz(motion: EvenMotion, band_mps: tuple[float, float]) -> float | None:
    starts = motion.segments(band_mps, SEGMENT_SAMPLES)
    if len(starts) < LEAST_SEGMENTS:
        return None
    frequency_hz = np.arange(SWAY_HZ[0], SWAY_HZ[1], 0.05)
    power = averaged(
        motion.yaw_rate_dps,
        motion.yaw_rate_dps,
        starts=starts,
        length=SEGMENT_SAMPLES,
        step_s=GRID_S,
        frequency_hz=frequency_hz,
    ).first
    top = int(np.argmax(power))
    if top in (0, len(power) - 1) or power[top] < PEAK_STANDS_OUT * power.mean():
        return None
    return float(frequency_hz[top])
