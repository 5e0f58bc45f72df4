"""Figures in the words of a page: numbers with their unit and no more digits than they deserve."""

from __future__ import annotations

from dataclasses import dataclass

from groundstation import cautions
from groundstation.analysis.session import PassAnalysis, SessionAnalysis
from groundstation.analysis.shocks import Shock
from groundstation.analysis.speed import PassSpeed
from groundstation.report.sheet import SessionSheet
from groundstation.units import SpeedUnit
from groundstation.wording import clock_text

UNKNOWN = "--"

CAUTION = (
    cautions.ADVICE,
    cautions.COURSE,
    cautions.FAILSAFE,
    f"{cautions.PACKS} {cautions.LAW}",
    cautions.DOUBT,
)
"""The foot of every report."""


@dataclass(frozen=True, slots=True, eq=False)
class Telling:
    """A session, and how its figures are to be shown."""

    analysis: SessionAnalysis
    sheet: SessionSheet
    unit: SpeedUnit

    @property
    def vehicle(self) -> str:
        """What the car is called."""
        record = self.analysis.record
        return record.name or f"vehicle {record.vehicle}"

    def clock(self, vehicle_s: float) -> str:
        """Return a time of the vehicle's clock on the session's clock, as a replay shows it."""
        return clock_text(max(vehicle_s + self.sheet.ahead_s, 0.0))

    def speed(self, speed_mps: float | None, digits: int = 1) -> str:
        """Return a speed without its unit."""
        return number(None if speed_mps is None else self.unit.from_mps(speed_mps), digits)

    def speed_with_error(self, speed_mps: float, half_mps: float) -> str:
        """Return a speed and the half of its 95 % interval, without unit."""
        return f"{self.speed(speed_mps)} ± {self.speed(half_mps)}"

    def peak(self, speed: PassSpeed | None) -> str:
        """Return a pass's peak with its 95 % interval, without unit."""
        if speed is None:
            return UNKNOWN
        peak = speed.peak
        return self.speed_with_error(peak.speed_mps, 0.5 * (peak.high_mps - peak.low_mps))


def number(value: float | None, digits: int = 1) -> str:
    """Return a number; `--` where it is not known, and never -0."""
    if value is None:
        return UNKNOWN
    shown = f"{value:.{digits}f}"
    return shown.lstrip("-") if float(shown) == 0.0 else shown


def with_unit(value: float | None, unit: str, digits: int = 1) -> str:
    """Return a number with its unit; `--` alone where it is not known."""
    return UNKNOWN if value is None else f"{number(value, digits)} {unit}"


def direction(one: PassAnalysis) -> str:
    """Return which way a pass went."""
    return UNKNOWN if one.forward is None else "out" if one.forward else "back"


def place(along_m: float | None) -> str:
    """Return a place on the course."""
    return UNKNOWN if along_m is None else f"{number(along_m, 0)} m"


def shock_short(shock: Shock | None) -> str:
    """Return a shock in a few cells; one that was clipped is never a value."""
    if shock is None:
        return UNKNOWN
    if shock.peak_g is None:
        return f"at least {number(shock.at_least_g)} g"
    return f"{number(shock.peak_g)} g"


def zero_words(telling: Telling) -> str:
    """Return what places on the course count from."""
    analysis = telling.analysis
    if analysis.course is None:
        return "places are metres since the pass began"
    if analysis.record.driver is None:
        return "places count from where the first pass began, in its direction"
    return "places count from the driver, in the direction of the first pass"
