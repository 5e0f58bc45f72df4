"""What is known of a vehicle beforehand, and how it is to be watched."""

from __future__ import annotations

from dataclasses import dataclass, field

from groundstation.radio.level import Limits


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
    pass_speed_mps: float = 8.0
    """A pass begins above this speed."""
    pass_end_speed_mps: float = 2.0
    """A pass ends below this speed."""
