"""The speed of each pass, with its error: one curve, its peak with an interval, spikes by name.

Owns the figures that come out of the fusion. The peak is that of the true curve, not of the
estimate: where many moments could be the highest, the one that is told the highest owes it in part
to its error, and that part is taken off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from groundstation.analysis.alignment import satellite_delay_s
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.analysis.speed_channels import SpeedChannels, speed_channels
from groundstation.analysis.speed_errors import chosen_errors
from groundstation.analysis.speed_fusion import Fusion, SensorErrors

DEVIATE_95 = 2.086
"""Half-width of a 95 % interval in standard deviations: Student's t with 20 degrees of freedom
(any table), because the sensors' errors are themselves judged from a few passes."""

BARE_DOUBT = 1.5
"""Without an accelerometer the slip of the wheels and the bends of the curve are guessed: errors
are that much larger than reckoned (measured on simulated passes)."""

SIGMA_S = 0.1
"""Between the moments at which the curve's error is reckoned; straight lines between."""

CANDIDATES = 24
"""Moments that may hold the peak, at most."""

DRAWS = 1200
"""Curves drawn, to see how high the highest of them goes."""

CANDIDATE_SIGMAS = 4.0


@dataclass(frozen=True, slots=True)
class Spike:
    """A satellite speed that nothing else in the car supports; it was left out."""

    at_s: float
    """As stamped, vehicle clock."""
    speed_mps: float
    over_mps: float
    """Above the curve; negative is below."""


@dataclass(frozen=True, slots=True)
class PeakSpeed:
    """The highest speed of a pass."""

    speed_mps: float
    low_mps: float
    high_mps: float
    """95 % interval."""
    at_s: float
    """Vehicle clock."""


@dataclass(frozen=True, slots=True, eq=False)
class PassSpeed:
    """All about the speed of one pass."""

    span: PassSpan
    t_s: Floats
    """(n) vehicle clock; from a little before the pass to a little after it."""
    speed_mps: Floats
    """(n) over ground, never below zero."""
    sigma_mps: Floats
    """(n) one standard deviation."""
    peak: PeakSpeed
    satellite_max_mps: float | None
    """Highest satellite speed as it came, spikes and all; None without a fix."""
    wheel_max_mps: float | None
    """Highest wheel speed as it came, slip and all."""
    spikes: tuple[Spike, ...]
    witnesses: tuple[str, ...]
    """What the curve rests on: "satellite", "wheel", "accelerometer"."""
    errors: SensorErrors

    def at(self, t_s: float) -> tuple[float, float]:
        """Return speed and standard deviation at a time."""
        speed_mps = float(np.interp(t_s, self.t_s, self.speed_mps))
        return speed_mps, float(np.interp(t_s, self.t_s, self.sigma_mps))

    def way_m(self) -> Floats:
        """Return the way since the curve began, at each of its times."""
        steps_m = 0.5 * (self.speed_mps[1:] + self.speed_mps[:-1]) * np.diff(self.t_s)
        return np.concatenate([[0.0], np.cumsum(steps_m)])

    def doubt_m(self) -> Floats:
        """Return the standard deviation of the way since the curve began, at each of its times.

        The errors of neighbouring moments are taken to be one and the same, as they nearly are over
        the seconds of a measured distance; so this is rather too large than too small.
        """
        steps_m = 0.5 * (self.sigma_mps[1:] + self.sigma_mps[:-1]) * np.diff(self.t_s)
        return np.concatenate([[0.0], np.cumsum(steps_m)])


def speeds_of(record: Record, spans: list[PassSpan]) -> list[PassSpeed | None]:
    """Return the speed of each pass; None where nothing told it."""
    cut = [speed_channels(record, span) for span in spans]
    known = [channels for channels in cut if channels is not None]
    delay_s = satellite_delay_s(known)
    errors = chosen_errors(known, 0.0 if delay_s is None else delay_s)
    return [None if channels is None else speed_of(channels, errors) for channels in cut]


def fix_delay_s(speeds: Sequence[PassSpeed | None]) -> float:
    """Return how much later than true a recording's fixes are stamped; 0 where none can tell.

    One delay holds for a receiver, so every pass of the recording carries the same. It is that of
    the speed; place and speed of a fix are taken to be of the same moment.
    """
    return next((each.errors.delay_s for each in speeds if each is not None), 0.0)


def speed_of(channels: SpeedChannels, errors: SensorErrors) -> PassSpeed:
    """Return the speed of one pass, the sensors' errors being known."""
    fusion = Fusion(channels, errors)
    t_s, span = channels.t_s, channels.span
    speed_mps = np.maximum(fusion.speed_mps(t_s), 0.0)
    coarse_s = np.linspace(t_s[0], t_s[-1], max(int((t_s[-1] - t_s[0]) / SIGMA_S), 1) + 1)
    doubt = 1.0 if channels.has_accel else BARE_DOUBT
    sigma_mps = doubt * np.interp(t_s, coarse_s, fusion.sigma_mps(coarse_s))
    wheel_mps = channels.wheel_mps[(t_s >= span.start_s) & (t_s <= span.end_s)]
    true_s = channels.fix_t_s - errors.delay_s
    raw_mps = channels.fix_mps[(true_s >= span.start_s) & (true_s <= span.end_s)]
    witnesses = {
        "satellite": bool(np.any(fusion.kept)),
        "wheel": channels.has_wheel,
        "accelerometer": channels.has_accel,
    }
    return PassSpeed(
        span=span,
        t_s=t_s,
        speed_mps=speed_mps,
        sigma_mps=sigma_mps,
        peak=_peak(fusion, speed_mps, sigma_mps, doubt=doubt),
        satellite_max_mps=float(raw_mps.max()) if len(raw_mps) else None,
        wheel_max_mps=None if np.all(np.isnan(wheel_mps)) else float(np.nanmax(wheel_mps)),
        spikes=_spikes(fusion),
        witnesses=tuple(name for name, heard in witnesses.items() if heard),
        errors=errors,
    )


def _spikes(fusion: Fusion) -> tuple[Spike, ...]:
    channels = fusion.channels
    rows = fusion.fix_rows[~fusion.kept]
    over_mps = channels.fix_mps[rows] - fusion.speed_mps(fusion.fix_true_s[~fusion.kept])
    return tuple(
        Spike(*values)
        for values in zip(
            channels.fix_t_s[rows].tolist(),
            channels.fix_mps[rows].tolist(),
            over_mps.tolist(),
            strict=True,
        )
    )


def _peak(fusion: Fusion, speed_mps: Floats, sigma_mps: Floats, *, doubt: float) -> PeakSpeed:
    """Return the peak of the true curve: from many curves off by its errors, how high each goes.

    The correction is that of the parametric bootstrap (Efron and Tibshirani, An Introduction to the
    Bootstrap, 1993, chapter 10, from memory).
    """
    span, t_s = fusion.channels.span, fusion.channels.t_s
    inside = (t_s >= span.start_s) & (t_s <= span.end_s)
    if not np.any(inside):
        inside[np.argmin(np.abs(t_s - span.start_s))] = True
    best_mps = float(np.max(np.where(inside, speed_mps - sigma_mps, -np.inf)))
    may = np.flatnonzero(inside & (speed_mps + CANDIDATE_SIGMAS * sigma_mps >= best_mps))
    # Evenly thinned, with the highest always among them.
    highest = int(np.argmax(np.where(inside, speed_mps, -np.inf)))
    thin = may[np.linspace(0, len(may) - 1, min(len(may), CANDIDATES)).astype(np.intp)]
    chosen = np.union1d(thin, [highest])
    covariance = doubt**2 * fusion.covariance(t_s[chosen])
    values, vectors = np.linalg.eigh(covariance)
    roots = vectors * np.sqrt(np.maximum(values, 0.0))
    draws = np.random.default_rng(0).standard_normal((DRAWS // 2, len(chosen)))
    # Each draw and its mirror image: their mean is exact but for the curve's bend.
    aside = np.einsum("ij,kj->ik", draws, roots)
    peaks_mps = np.concatenate([speed_mps[chosen] + aside, speed_mps[chosen] - aside]).max(axis=1)
    # By as much as errors raise the highest of this curve, they have raised it already.
    middle_mps = 2.0 * float(speed_mps[highest]) - float(np.mean(peaks_mps))
    half_mps = DEVIATE_95 * float(np.std(peaks_mps))
    return PeakSpeed(middle_mps, middle_mps - half_mps, middle_mps + half_mps, float(t_s[highest]))
