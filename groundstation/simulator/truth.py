"""What really happened: the state that no sensor sees without error.

Owns the frozen snapshot of one moment and the columns of a whole run. Margins are the true power at
the car less its receiver's sensitivity; the local mean leaves the fast fading out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Truth:
    """The simulated car at one moment."""

    t_s: float
    position_m: float
    """Along the course."""
    across_m: float
    """To the left of the line."""
    heading_deg: float
    """0 along the course, positive to the left, not wrapped."""
    speed_mps: float
    """Over ground."""
    accel_x_mps2: float
    """Specific force forward."""
    yaw_rate_dps: float
    damping_ratio: float
    """Of the least damped yaw mode at this speed; negative where it grows. 1 at a crawl."""
    mode_frequency_hz: float
    """Of the same mode; 0 where nothing swings."""
    distance_m: float
    """From the driver."""
    local_mean_margin_db: float
    margin_db: float
    """With fading, at the newest control packet."""
    failsafe: bool
    throttle_percent: float
    """In force on board; negative is brake."""
    pack_voltage_v: float
    crashed: bool
    doing: str
    """What the driver is about."""


@dataclass(frozen=True, slots=True, eq=False)
class Truths:
    """A whole run at 100 Hz; one row a column entry, all of equal length."""

    t_s: NDArray[np.float64]
    position_m: NDArray[np.float64]
    across_m: NDArray[np.float64]
    heading_deg: NDArray[np.float64]
    speed_mps: NDArray[np.float64]
    accel_x_mps2: NDArray[np.float64]
    yaw_rate_dps: NDArray[np.float64]
    damping_ratio: NDArray[np.float64]
    mode_frequency_hz: NDArray[np.float64]
    distance_m: NDArray[np.float64]
    local_mean_margin_db: NDArray[np.float64]
    margin_db: NDArray[np.float64]
    failsafe: NDArray[np.bool_]
    throttle_percent: NDArray[np.float64]
    pack_voltage_v: NDArray[np.float64]
    crashed: NDArray[np.bool_]
    doing: NDArray[np.str_]

    @property
    def failsafe_row(self) -> int | None:
        """Row in which failsafe first began; None if it never did."""
        rows = np.flatnonzero(self.failsafe)
        return int(rows[0]) if len(rows) else None
