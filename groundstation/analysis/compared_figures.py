"""The figures of a pass by which set-ups are compared.

Yaw is that of the fastest speed band in which it was found.

Rule: what was not measured is None. A shock that was clipped is no figure at all: taken as its
full scale, a worse set-up would look no worse.
"""

from __future__ import annotations

from collections.abc import Callable

from groundstation.analysis.compare_trial import Better, FigureKind
from groundstation.analysis.session import PassAnalysis
from groundstation.analysis.yaw import YawBand


def _peak_mps(one: PassAnalysis) -> float | None:
    return None if one.speed is None else one.speed.peak.speed_mps


def _timed_mps(one: PassAnalysis) -> float | None:
    return None if one.timed is None else one.timed.speed_mps


def _margin_db(one: PassAnalysis) -> float | None:
    return None if one.lowest is None else one.lowest.margin_db


def _fastest_band(one: PassAnalysis) -> YawBand | None:
    return one.yaw.bands[-1] if one.yaw.bands else None


def _yaw_rms_dps(one: PassAnalysis) -> float | None:
    band = _fastest_band(one)
    return None if band is None else band.rms_dps


def _damping(one: PassAnalysis) -> float | None:
    ratios = [each.damping_ratio for each in one.yaw.bands if each.damping_ratio is not None]
    return ratios[-1] if ratios else None


def _yaw_abs_dps(one: PassAnalysis) -> float | None:
    return one.yaw_rate_abs_dps


def _shock_g(one: PassAnalysis) -> float | None:
    hardest = one.hardest
    return None if hardest is None or hardest.clipped else hardest.size_g


def _decel_mps2(one: PassAnalysis) -> float | None:
    return one.braking.mean_decel_mps2 if one.braking is not None and one.braking.teaches else None


_FIGURES: tuple[tuple[FigureKind, Callable[[PassAnalysis], float | None]], ...] = (
    (FigureKind("peak speed", "m/s", Better.HIGHER), _peak_mps),
    (FigureKind("measured speed", "m/s", Better.HIGHER), _timed_mps),
    (FigureKind("lowest margin", "dB", Better.HIGHER), _margin_db),
    (FigureKind("yaw damping ratio", "", Better.HIGHER), _damping),
    (FigureKind("yaw rms", "deg/s", Better.LOWER), _yaw_rms_dps),
    (FigureKind("largest yaw rate", "deg/s", Better.LOWER), _yaw_abs_dps),
    (FigureKind("hardest shock", "g", Better.LOWER), _shock_g),
    (FigureKind("braking", "m/s²", Better.HIGHER), _decel_mps2),
)

KINDS = tuple(kind for kind, _ in _FIGURES)
"""In the order in which they are shown."""


def figures_of(one: PassAnalysis) -> dict[str, float | None]:
    """Return a pass's figures by the name of their kind."""
    return {kind.name: figure(one) for kind, figure in _FIGURES}
