"""Options that several commands share, and what they mean."""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from math import inf, isfinite
from pathlib import Path

from groundstation import __version__
from groundstation.errors import SettingsError
from groundstation.settings import LinkSettings, Settings, load_settings, sessions_folder
from groundstation.units import SpeedUnit
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicles import VehicleFile
from protocol import Table, TableError, load_table


def add_settings_options(parser: argparse.ArgumentParser) -> None:
    """Add where settings and sessions are."""
    group = parser.add_argument_group("places")
    group.add_argument("--settings", type=Path, metavar="FILE", help="settings file (TOML)")
    group.add_argument("--sessions", type=Path, metavar="FOLDER", help="folder of the sessions")


def add_output_options(parser: argparse.ArgumentParser) -> None:
    """Add how a session that runs is shown."""
    group = parser.add_argument_group("output")
    how = group.add_mutually_exclusive_group()
    how.add_argument("--plain", action="store_true", help="a readable line a second, no screen")
    how.add_argument("--json", action="store_true", help="JSON lines and nothing else")
    group.add_argument("--units", type=SpeedUnit, choices=list(SpeedUnit), help="unit of speed")
    group.add_argument("--theme", choices=["dark", "sunlight"], help="colours of the screen")


def add_vehicle_options(parser: argparse.ArgumentParser) -> None:
    """Add what is known of the vehicle."""
    group = parser.add_argument_group("vehicle")
    group.add_argument(
        "--vehicle-number", type=int, metavar="N", help="follow this vehicle, not the first heard"
    )
    group.add_argument(
        "--threshold", type=float, metavar="DBM", help="level at which the control receiver stops"
    )
    group.add_argument(
        "--channels", type=Path, metavar="FILE", help="a builder's own frame kinds (TOML)"
    )


def add_watch_options(parser: argparse.ArgumentParser) -> None:
    """Add what is said and heard while a car is watched."""
    group = parser.add_argument_group("watching")
    group.add_argument(
        "--station",
        type=position,
        metavar="LAT,LON",
        help="where the driver stands, degrees; else key s, or the car's first fix at rest",
    )
    group.add_argument("--quiet", action="store_true", help="no sound, no bell, no commands")


def add_recording_options(parser: argparse.ArgumentParser) -> None:
    """Add what goes into the session file."""
    group = parser.add_argument_group("recording")
    group.add_argument("--no-record", action="store_true", help="do not record this session")
    group.add_argument(
        "--setup", type=Path, metavar="FILE", help="set-up sheet of the car (TOML), kept with it"
    )
    group.add_argument("--note", metavar="TEXT", help="a note, kept with the session")


def above_zero(text: str) -> float:
    """Return a number above zero."""
    value = float(text)
    if not (isfinite(value) and value > 0):
        raise ValueError
    return value


def duration(text: str) -> float:
    """Return seconds, above zero."""
    return above_zero(text)


def position(text: str) -> tuple[float, float]:
    """Return latitude and longitude in degrees."""
    latitude_deg, longitude_deg = (float(part) for part in text.split(","))
    if not (abs(latitude_deg) <= 90 and abs(longitude_deg) <= 180):
        raise ValueError
    return latitude_deg, longitude_deg


def replay_speed(text: str) -> float:
    """Return a replay speed; `max` is infinity."""
    return inf if text == "max" else float(text)


@dataclass(frozen=True, slots=True)
class Choices:
    """What options, environment and settings come to."""

    settings: Settings
    sessions: Path
    unit: SpeedUnit
    theme: str
    baud: int
    channels_text: str
    """The builder's own kinds as TOML text; empty where there are none."""
    table: Table
    profile: VehicleProfile

    @property
    def keeper(self) -> StateKeeper:
        """Makes and opens kept states for these choices."""
        return StateKeeper(self.profile, self.table, software_version=__version__)


def choose(arguments: argparse.Namespace, vehicle: VehicleFile | None = None) -> Choices:
    """Return what the options of a command, a vehicle's file and the settings come to.

    Raises:
        SettingsError: A settings or channel file is wrong.
    """
    settings, vehicle = load_settings(arguments.settings), vehicle or VehicleFile()
    asked = vars(arguments)
    link = LinkSettings(threshold_dbm=asked.get("threshold")).over(vehicle.link.over(settings.link))
    channels: Path | None = asked.get("channels")
    named = vehicle.channels or settings.channels
    if channels is None and named:
        channels = Path(named).expanduser()
    try:
        table = load_table(channels)
    except TableError as error:
        raise SettingsError(str(error)) from error
    number = asked.get("vehicle_number")
    return Choices(
        settings=settings,
        sessions=sessions_folder(settings, arguments.sessions),
        unit=asked.get("units") or vehicle.units or settings.units,
        theme=asked.get("theme") or settings.theme,
        baud=asked.get("baud") or vehicle.baud or settings.baud,
        channels_text="" if channels is None else channels.read_text(encoding="utf-8"),
        table=table,
        profile=VehicleProfile(
            number=vehicle.number if number is None else number,
            threshold_dbm=link.threshold_dbm,
            limits=link.limits,
            braking=vehicle.stopping.braking,
            percent_map=vehicle.receiver.percent_map,
            raw_map=vehicle.receiver.raw_map,
        ),
    )
