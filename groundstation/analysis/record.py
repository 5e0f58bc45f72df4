"""One vehicle's recording as columns over the vehicle's clock: what all analysis reads.

Owns the step from the batch decoder's frames to columns in order of time. Numbers that were not
measured are NaN; bits are 0, 1 or NaN. Frames that arrived late are sorted in, a frame that arrived
twice counts once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from groundstation.vehicle.profile import VehicleProfile
from protocol import Kind
from protocol.batch import Batch

Floats = NDArray[np.float64]


class OnDemand(Mapping[str, Floats]):
    """Columns that are read when they are first asked for: most analyses need few of them."""

    def __init__(self, names: Iterable[str], read: Callable[[str], Floats]) -> None:
        self._held: dict[str, Floats | None] = dict.fromkeys(names)
        self._read = read

    def __getitem__(self, name: str) -> Floats:
        column = self._held[name]
        if column is None:
            column = self._held[name] = self._read(name)
        return column

    def __iter__(self) -> Iterator[str]:
        return iter(self._held)

    def __len__(self) -> int:
        return len(self._held)


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The frames of one kind."""

    t_s: Floats
    """(n) vehicle clock, unrolled, increasing."""
    values: Mapping[str, Floats]
    """(n) each, by channel; text channels are left out."""

    def __len__(self) -> int:
        return len(self.t_s)

    def __getitem__(self, channel: str) -> Floats:
        """Return a channel's values, all NaN where this recording has no such channel."""
        column = self.values.get(channel)
        return np.full(len(self.t_s), np.nan) if column is None else column

    def between(self, start_s: float, end_s: float) -> Self:
        """Return the frames from `start_s` to `end_s`, both included."""
        part = slice(*np.searchsorted(self.t_s, [start_s, np.nextafter(end_s, np.inf)]))
        return type(self)(
            self.t_s[part], OnDemand(self.values, lambda name: self.values[name][part])
        )


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """All of one vehicle's recording that analysis reads."""

    vehicle: int
    name: str | None
    """As the ident frame says, else as the profile does."""
    kinds: Mapping[str, Columns]
    """By name; every kind of the table, empty where none of it was heard."""
    profile: VehicleProfile
    """What was known of the vehicle when it was recorded."""
    driver: tuple[float, float] | None
    """Where the driver stood: latitude and longitude in degrees; None where nobody told."""

    @property
    def motion(self) -> Columns:
        """Speed, yaw rate, accelerations, steering, throttle, flags."""
        return self.kinds["motion"]

    @property
    def fix(self) -> Columns:
        """Place and speed by satellite."""
        return self.kinds["fix"]

    @property
    def radio(self) -> Columns:
        """The control link as the car hears it."""
        return self.kinds["radio"]

    @property
    def power(self) -> Columns:
        """Pack and controller."""
        return self.kinds["power"]

    @property
    def threshold_dbm(self) -> float | None:
        """Level at which the control receiver stops working: of the profile, else of the car."""
        return self.profile.threshold_dbm or self.told("control_sensitivity_dbm")

    def told(self, channel: str) -> float | None:
        """Return what the newest ident frame says; None where it does not."""
        column = self.kinds["ident"][channel]
        known = column[~np.isnan(column)]
        return float(known[-1]) if len(known) else None

    def ends_s(self) -> tuple[float, float] | None:
        """Return the vehicle clock at the first and the last frame; None where there is none."""
        heard = [columns.t_s for columns in self.kinds.values() if len(columns)]
        if not heard:
            return None
        return min(float(t_s[0]) for t_s in heard), max(float(t_s[-1]) for t_s in heard)


def record_of(
    batch: Batch,
    *,
    vehicle: int,
    profile: VehicleProfile | None = None,
    driver: tuple[float, float] | None = None,
) -> Record:
    """Return a vehicle's columns.

    Args:
        batch: All frames of the recording.
        vehicle: Its number.
        profile: What was known of it.
        driver: Latitude and longitude of the driver, degrees.
    """
    profile = profile or VehicleProfile()
    names = batch.column("vehicle_name", vehicle).tolist()
    told = next((name for name in reversed(names) if name), None)
    return Record(
        vehicle=vehicle,
        name=told or profile.name,
        kinds={kind.name: _columns(batch, kind, vehicle) for kind in batch.table.kinds},
        profile=profile,
        driver=driver,
    )


def _columns(batch: Batch, kind: Kind, vehicle: int) -> Columns:
    t_s = batch.times(kind.name, vehicle).vehicle_s
    order = None
    if np.any(np.diff(t_s) <= 0.0):
        # `unique` sorts; of frames that carry the same time the first that arrived stays.
        t_s, order = np.unique(t_s, return_index=True)

    def read(channel: str) -> Floats:
        column = batch.column(channel, vehicle)
        if column.dtype == np.bool_:
            column = np.where(batch.known(channel, vehicle), column.astype(float), np.nan)
        return column if order is None else column[order]

    channels = [each for field in kind.fields if not field.is_text for each in field.channels]
    return Columns(t_s, OnDemand(channels, read))
