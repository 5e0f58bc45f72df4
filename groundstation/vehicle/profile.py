"""What is known of a vehicle beforehand, and how it is to be watched."""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.forecast import Braking
from groundstation.radio.level import Limits
from groundstation.radio.watch import TwoPoints, WatchSetting


@dataclass(frozen=True, slots=True, kw_only=True)
class VehicleProfile:
    """Facts and wishes that the wire does not carry; all have a default."""

    name: str | None = None
    """Used where the car sends no ident frame."""
    number: int | None = None
    """Vehicle number to follow; None follows the first one heard."""
    threshold_dbm: float | None = None
    """Level at which the control receiver stops working; None takes the ident frame's."""
    limits: Limits = field(default_factory=Limits)
    braking: Braking = field(default_factory=Braking)
    """How the car comes to rest when the driver is told to lift."""
    percent_map: TwoPoints | None = None
    """For a receiver that reports only a percentage."""
    raw_map: TwoPoints | None = None
    """For a receiver that reports only a number without a unit."""
    prior: LinkPrior | None = None
    """What the last range check found."""
    pass_speed_mps: float = 8.0
    """A pass begins above this speed."""
    pass_end_speed_mps: float = 2.0
    """A pass ends below this speed."""

    def watch_setting(self, threshold_dbm: float | None) -> WatchSetting:
        """Return how the control link is watched, with the threshold that holds now."""
        return WatchSetting(
            threshold_dbm=threshold_dbm,
            limits=self.limits,
            braking=self.braking,
            percent_map=self.percent_map,
            raw_map=self.raw_map,
            prior=self.prior,
        )
