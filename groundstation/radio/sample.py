"""Reports averaged into one independent sample, and how sure its level is.

Owns the averaging, its variance, and the check of the place by the levels measured. Rule: samples
are averaged as power, since the mean of decibels lies below the decibels of the mean.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, log10

from groundstation.radio.estimate import NEAREST_M, decades_of

FADE_WAY_M = 0.06
"""Half a wavelength at 2.4 GHz: reports closer than this share their fading (checks on Clarke's
model: J0 is first zero at 0.38 wavelengths)."""
ROUNDING_VARIANCE_DB2 = 1.0 / 12.0
"""Of a level rounded to whole dB (uniform distribution)."""
LEAST_REPORT_VARIANCE_DB2 = 1.0
"""A receiver averages before it reports, so reports differ less than they err."""
BESIDE_M = 2.0
"""Beside the driver, aerial patterns and heights count as much as so many metres."""

REFUTING_GAIN = 5.0
"""As 10 log10 of the growth of the distance: three times as far, fades do not hide the fall."""
LEAST_EXPONENT = 0.3
"""No path falls slower over so long a way."""


@dataclass(slots=True)
class Sample:
    """Reports that are being averaged."""

    power_mw: float = 0.0
    """Summed up, as is the distance."""
    count: int = 0
    distance_m: float = 0.0
    """From the driver, where the reports were measured."""
    since_s: float = 0.0
    since_m: float = 0.0
    """Way travelled when it began."""

    def add(self, power_mw: float, place_m: float, *, at_s: float, travelled_m: float) -> None:
        """Add a report, measured at a distance from the driver."""
        if self.count == 0:
            self.since_s, self.since_m = at_s, travelled_m
        self.power_mw += power_mw
        self.distance_m += place_m
        self.count += 1

    @property
    def level_dbm(self) -> float:
        """Mean of the reports."""
        return 10.0 * log10(self.power_mw / self.count)

    @property
    def place_m(self) -> float:
        """Mean distance from the driver."""
        return self.distance_m / self.count

    def variance_db2(
        self, report_variance_db2: float, *, travelled_m: float, sigma_m: float
    ) -> float:
        """Return what fading, rounding and a doubtful place leave of uncertainty in the level.

        Args:
            report_variance_db2: Of one report about the local mean.
            travelled_m: Way travelled until now.
            sigma_m: Of the car's distance from the driver.
        """
        independent = min(float(self.count), 1.0 + (travelled_m - self.since_m) / FADE_WAY_M)
        fading_db2 = max(report_variance_db2, LEAST_REPORT_VARIANCE_DB2) / independent
        # Plane earth: a distance that is off by a metre puts the level off by 17.4 dB over it.
        doubt_db = 17.4 / max(self.place_m, NEAREST_M) * hypot(sigma_m, BESIDE_M)
        return fading_db2 + ROUNDING_VARIANCE_DB2 + doubt_db**2


@dataclass(slots=True)
class Witness:
    """The first level that was measured and the newest: a wrong place gives itself away by them."""

    first_dbm: float | None = None
    first_m: float = 0.0
    """From the driver, as it was thought."""
    newest_dbm: float = 0.0
    newest_m: float = 0.0

    def take(self, level_dbm: float, distance_m: float) -> None:
        """Keep the level of a sample."""
        if self.first_dbm is None:
            self.first_dbm, self.first_m = level_dbm, distance_m
        self.newest_dbm, self.newest_m = level_dbm, distance_m

    @property
    def refutes_place(self) -> bool:
        """Whether the level stayed where by any law it must fall: the driver stands elsewhere."""
        if self.first_dbm is None:
            return False
        gained = decades_of(self.newest_m) - decades_of(self.first_m)
        return gained > REFUTING_GAIN and self.first_dbm - self.newest_dbm < LEAST_EXPONENT * gained
