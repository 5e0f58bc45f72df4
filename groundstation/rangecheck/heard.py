"""The car as it is heard: bytes in, its samples out, and what every step asks of the newest.

Owns the decoding, the following of one vehicle, and where the car is and whether it stands. Rule:
of another vehicle on the same channel nothing is taken.
"""

from __future__ import annotations

from collections.abc import Iterator

from groundstation.inbound import DriverPlaced, Inbound, LinkChanged, LinkState
from groundstation.rangecheck.stillness import Stillness
from groundstation.vehicle.channels import Channels
from groundstation.vehicle.control import threshold_of
from groundstation.vehicle.peaks import number
from groundstation.vehicle.place import Origin, Place
from groundstation.vehicle.profile import VehicleProfile
from protocol import Receiver, SampleReceived, Table, VehicleRebooted


class HeardCar:
    """One vehicle, from its frames."""

    def __init__(self, profile: VehicleProfile, table: Table | None) -> None:
        self.channels = Channels()
        self.place = Place()
        self.stillness = Stillness()
        self.vehicle_s: float | None = None
        self._profile = profile
        self._number = profile.number
        self._receiver = Receiver(table)

    def receive(self, data: bytes, at_s: float) -> Iterator[SampleReceived]:
        """Yield the samples that bytes complete, each taken note of before the next."""
        for event in self._receiver.receive_data(data, at_s):
            if isinstance(event, SampleReceived) and self._follows(event):
                self._take(event, at_s)
                yield event
            elif isinstance(event, VehicleRebooted) and event.vehicle == self._number:
                self.stillness.still_s = 0.0

    def told(self, inbound: Inbound) -> None:
        """Take note of what comes in beside bytes."""
        match inbound:
            case LinkChanged(_, LinkState.CONNECTED, _):
                self._receiver.link_restarted()
            case DriverPlaced(_, latitude_deg, longitude_deg):
                self.place.stand_at(latitude_deg, longitude_deg)
            case _:
                pass

    @property
    def name(self) -> str:
        """By the ident frame, else by the profile; empty where neither tells."""
        ident = self.channels.latest.get("ident")
        name = ident.values.get("vehicle_name") if ident else None
        return name if isinstance(name, str) and name else self._profile.name or ""

    @property
    def threshold_dbm(self) -> float | None:
        """Level at which the control receiver stops working."""
        return threshold_of(self.channels, self._profile)

    def fix_distance_m(self, now_s: float) -> float | None:
        """Return the distance from the driver by a fresh fix, None where there is none."""
        kind = number(self.channels.fresh("fix", now_s), "fix_type")
        return None if kind is None or kind < 2 else self.place.distance_m

    @property
    def driver_is_placed(self) -> bool:
        """Whether somebody told where the driver stands: only then do fixes tell his distance."""
        return self.place.origin is Origin.DRIVER

    def _follows(self, sample: SampleReceived) -> bool:
        if self._number is None:
            self._number = sample.vehicle
        return sample.vehicle == self._number and not sample.late

    def _take(self, sample: SampleReceived, at_s: float) -> None:
        self.vehicle_s = max(sample.vehicle_s, self.vehicle_s or 0.0)
        self.channels.take(sample, at_s)
        if sample.kind.name == "motion":
            self.stillness.take(sample.values, sample.vehicle_s)
            self.place.take_motion(sample.values, sample.vehicle_s)
        elif sample.kind.name == "fix":
            self.place.take_fix(sample.values)
