"""What a wave depends on: its speed, how it is polarised, the ground it meets. No NumPy."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

SPEED_OF_LIGHT_MPS = 299_792_458.0


class Polarisation(StrEnum):
    """Which way the aerials stand."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"


@dataclass(frozen=True, slots=True)
class Ground:
    """Electrical properties of the ground."""

    permittivity: float = 15.0
    """Relative."""
    conductivity_s_per_m: float = 0.005
