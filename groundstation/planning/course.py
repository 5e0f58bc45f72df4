"""What a course plan starts from: the course, where the driver stands, and the radio.

Owns these inputs and their geometry. Places are metres along the course from its start, in the
direction of travel; the driver stands at such a place and some metres aside. Rule: what cannot be
is refused here, with a plain sentence, so that everything behind may calculate without asking.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import isfinite

import numpy as np

from groundstation.planning.grounds import GROUNDS
from groundstation.radio.budget import LinkBudget
from groundstation.radio.forecast import Braking, overrun_m
from groundstation.radio.propagation import Array, Ground, Numbers, Polarisation

TALLEST_M = 20.0
"""Of a transmitter's antenna."""

LONGEST_M = 5000.0
"""Further out nothing is planned: the ground is not flat for low antennas there any more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A straight course, the driver beside it, and the car that must come to rest behind it."""

    length_m: float = 200.0
    """From the start to the far end, where the driver lifts at the latest."""
    driver_at_m: float | None = 0.0
    """Where the driver stands along the course: negative before its start, None at its middle."""
    driver_aside_m: float = 3.0
    """How far from the car's line."""
    speed_mps: float = 100.0 / 3.6
    """At the far end."""
    braking: Braking = field(default_factory=Braking)

    def __post_init__(self) -> None:
        """Refuse what cannot be.

        Raises:
            ValueError: With a sentence for the user.
        """
        _within("the length of the course", self.length_m, 1.0, LONGEST_M, "m")
        if self.driver_at_m is not None:
            _within("the driver's place", self.driver_at_m, -LONGEST_M, LONGEST_M, "m")
        _within("the driver's distance aside", self.driver_aside_m, 0.0, 1000.0, "m")
        _within("the speed", self.speed_mps, 0.0, 200.0, "m/s")
        _within("the reaction time", self.braking.react_s, 0.0, 5.0, "s")
        _within("the braking deceleration", self.braking.decel_mps2, 0.1, 50.0, "m/s2")
        _within("the spread of the braking", self.braking.decel_sigma_mps2, 0.0, 50.0, "m/s2")

    @property
    def overrun_m(self) -> float:
        """The way from the far end to rest that 95 of 100 stops keep within.

        Reaction, control delay and braking; a range check reckons with the same.
        """
        return overrun_m(self.speed_mps, self.braking)

    @property
    def stop_at_m(self) -> float:
        """Where the car comes to rest after the far end."""
        return self.length_m + self.overrun_m

    @property
    def stands_at_m(self) -> float:
        """Where the driver stands along the course."""
        return self.length_m / 2.0 if self.driver_at_m is None else self.driver_at_m

    def distance_m(self, along_m: Numbers) -> Array:
        """Return the distance over the ground from the driver to places along the course."""
        return np.hypot(np.asarray(along_m) - self.stands_at_m, self.driver_aside_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class Radio:
    """The control link as it will be held, carried and tuned."""

    budget: LinkBudget
    transmitter_height_m: float = 1.2
    """Of its antenna over the ground."""
    car_height_m: float = 0.05
    """Of the car's antenna over the ground."""
    frequency_hz: float = 2.4e9
    ground: Ground = GROUNDS["asphalt"]
    polarisation: Polarisation = Polarisation.VERTICAL

    def __post_init__(self) -> None:
        """Refuse what cannot be.

        Raises:
            ValueError: With a sentence for the user.
        """
        _within("the transmitter's height", self.transmitter_height_m, 0.01, TALLEST_M, "m")
        _within("the height of the car's antenna", self.car_height_m, 0.001, 5.0, "m")
        _within("the frequency", self.frequency_hz / 1e6, 25.0, 10_000.0, "MHz")
        budget = self.budget
        _within("the transmit power", budget.transmit_power_dbm, -30.0, 50.0, "dBm")
        _within("the threshold", budget.threshold_dbm, -200.0, 0.0, "dBm")
        _within("the transmitter's antenna gain", budget.transmit_gain_dbi, -40.0, 30.0, "dBi")
        _within("the car's antenna gain", budget.receive_gain_dbi, -40.0, 30.0, "dBi")
        _within("the other losses", budget.other_losses_db, 0.0, 60.0, "dB")


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not (isfinite(value) and low <= value <= high):
        raise ValueError(f"{what} is {value:g} {unit}; it must be from {low:g} to {high:g} {unit}")
