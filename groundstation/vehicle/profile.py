"""What is known of a vehicle beforehand, and how it is to be watched."""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.forecast import Braking
from groundstation.radio.level import Limits
from groundstation.radio.watch_setting import TwoPoints, WatchSetting

NO_CHECK = "no range check today"
"""What is said of a vehicle that has none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownCheck:
    """The newest range check of a vehicle, as far as it helps to watch it."""

    vehicle: str
    """As in the ident frame."""
    words: str
    """What was said of it when the session began: verdict, date, whether it still held."""
    prior: LinkPrior | None = None
    """What it found; None where it measured too little."""


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
    """What the last range check found; None takes the one of `checks` that is this vehicle's."""
    checks: tuple[KnownCheck, ...] | None = None
    """The newest range check of every vehicle; None where nobody looked for any."""
    pass_speed_mps: float = 8.0
    """A pass begins above this speed."""
    pass_end_speed_mps: float = 2.0
    """A pass ends below this speed."""

    def check_words(self, vehicle: str | None) -> str:
        """Return what is said of a vehicle's range check; empty where nobody looked for any.

        Args:
            vehicle: As in the ident frame; None where the car tells no name.
        """
        if self.checks is None:
            return ""
        check = self._check_of(vehicle)
        return check.words if check else NO_CHECK

    def prior_of(self, vehicle: str | None) -> LinkPrior | None:
        """Return what the newest range check of a vehicle found."""
        check = self._check_of(vehicle)
        return self.prior or (check.prior if check else None)

    def _check_of(self, vehicle: str | None) -> KnownCheck | None:
        name = vehicle or self.name
        return next((each for each in self.checks or () if each.vehicle == name), None)

    def watch_setting(self, threshold_dbm: float | None, prior: LinkPrior | None) -> WatchSetting:
        """Return how the control link is watched, with the threshold and the check that hold."""
        return WatchSetting(
            threshold_dbm=threshold_dbm,
            limits=self.limits,
            braking=self.braking,
            percent_map=self.percent_map,
            raw_map=self.raw_map,
            prior=prior,
        )
