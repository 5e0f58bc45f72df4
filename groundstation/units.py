"""Units of the screen. Inside the program everything is SI and g; conversion happens here, last.

Factors: NIST SP 811, appendix B (exact by definition; from memory).
"""

from __future__ import annotations

from enum import StrEnum

STANDARD_GRAVITY_MPS2 = 9.80665


class SpeedUnit(StrEnum):
    """How a screen shows speed."""

    KMH = "km/h"
    MPH = "mph"
    MPS = "m/s"

    @property
    def per_mps(self) -> float:
        """Units per metre per second."""
        return _PER_MPS[self]

    def from_mps(self, speed_mps: float) -> float:
        """Return a speed in this unit."""
        return speed_mps * self.per_mps


_PER_MPS = {SpeedUnit.KMH: 3.6, SpeedUnit.MPH: 1 / 0.44704, SpeedUnit.MPS: 1.0}
