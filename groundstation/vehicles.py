"""Vehicle files: one TOML file a car in `vehicles/` of the config folder, every key optional.

`live NAME` opens the source that the file names and watches the car as it says. What a file does
not say, the settings say.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import msgspec

from groundstation.errors import SettingsError
from groundstation.radio.forecast import Braking
from groundstation.radio.watch_setting import TwoPoints
from groundstation.settings import LinkSettings, parse_toml, read_text, settings_path
from groundstation.units import SpeedUnit

SUFFIX = ".toml"

_Point = tuple[float, float]


class StoppingSettings(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[stopping]`: how the car comes to rest after the driver is told to lift."""

    react_s: Annotated[float, msgspec.Meta(ge=0, le=5)] | None = None
    """From the warning to the lifted throttle."""
    decel_mps2: Annotated[float, msgspec.Meta(gt=0, le=50)] | None = None
    """Mean braking deceleration over a whole stop."""
    decel_from_mps: Annotated[float, msgspec.Meta(ge=1, le=150)] | None = None
    """Speed from which that was measured: from a higher one the air brakes more."""
    drag_per_m: Annotated[float, msgspec.Meta(ge=0, le=0.1)] | None = None
    """Deceleration by the air over speed squared; see `Braking`."""
    decel_sigma_mps2: Annotated[float, msgspec.Meta(ge=0, le=50)] | None = None
    """Its spread from stop to stop, one standard deviation."""

    @property
    def braking(self) -> Braking:
        """What these settings come to."""
        said = {name: getattr(self, name) for name in self.__struct_fields__}
        return Braking(**{name: value for name, value in said.items() if value is not None})


class ReceiverSettings(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[receiver]`: for a control receiver that reports no dBm."""

    percent_dbm: tuple[_Point, _Point] | None = None
    """Two points of a range check, [percent, dBm] each, for one that reports a percentage."""
    number_dbm: tuple[_Point, _Point] | None = None
    """The same for one that reports a number without a unit."""

    @property
    def percent_map(self) -> TwoPoints | None:
        """What a percentage means."""
        return _map_of(self.percent_dbm)

    @property
    def raw_map(self) -> TwoPoints | None:
        """What a number without a unit means."""
        return _map_of(self.number_dbm)


class VehicleFile(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """The whole file."""

    source: str | None = None
    """As given to `live`."""
    baud: Annotated[int, msgspec.Meta(ge=300, le=4_000_000)] | None = None
    number: Annotated[int, msgspec.Meta(ge=0, le=255)] | None = None
    """Vehicle number to follow."""
    units: SpeedUnit | None = None
    channels: str | None = None
    """TOML file with this car's own frame kinds."""
    link: LinkSettings = LinkSettings()
    receiver: ReceiverSettings = ReceiverSettings()
    stopping: StoppingSettings = StoppingSettings()


def vehicles_folder(settings_file: Path | None = None) -> Path:
    """Return where vehicle files are: beside the settings file."""
    return (settings_file or settings_path()).parent / "vehicles"


def vehicle_names(folder: Path) -> list[str]:
    """Return the names of the vehicles that have a file."""
    return sorted(path.stem for path in folder.glob(f"*{SUFFIX}")) if folder.is_dir() else []


def load_vehicle(name: str, folder: Path) -> VehicleFile | None:
    """Return a vehicle's file, None where there is none of this name.

    Raises:
        SettingsError: It cannot be read, or says something impossible.
    """
    if name not in vehicle_names(folder):
        return None
    path = folder / f"{name}{SUFFIX}"
    return parse_toml(read_text(path, "vehicle file"), str(path), VehicleFile)


def watched(name: str, folder: Path) -> tuple[str, VehicleFile | None]:
    """Return the source that a name stands for, and the vehicle's file where it is a vehicle's.

    Raises:
        SettingsError: The file cannot be read, says something impossible, or names no source.
    """
    vehicle = load_vehicle(name, folder)
    if vehicle is None:
        return name, None
    if vehicle.source is None:
        raise SettingsError(f"the file of the vehicle {name} names no source")
    return vehicle.source, vehicle


def _map_of(points: tuple[_Point, _Point] | None) -> TwoPoints | None:
    if points is None:
        return None
    (low, low_dbm), (high, high_dbm) = sorted(points)
    if low == high:
        raise SettingsError(f"the two points of a receiver's map are both at {low:g}")
    return TwoPoints(low=low, low_dbm=low_dbm, high=high, high_dbm=high_dbm)
