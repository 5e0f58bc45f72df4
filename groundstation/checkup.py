"""Whether this computer is ready for a day at the track: a finding a matter, with what to do.

Rule: nothing is changed and no port is opened (opening one restarts many boards).
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from pathlib import Path

from groundstation.errors import GroundstationError
from groundstation.recording.names import SUFFIX
from groundstation.recording.trouble import trouble_of
from groundstation.settings import load_settings
from groundstation.sources.ble_listing import BleListing
from groundstation.sources.listing import FoundPort
from groundstation.sources.serial_trouble import permission_hint
from groundstation.vehicles import load_vehicle, vehicle_names

LEAST_COLUMNS, LEAST_LINES = 80, 24
LEAST_FREE_MB = 500
"""Some twenty hours of recording at 100 Hz."""
EARLIEST = datetime(2026, 1, 1)
"""No clock that is right shows an earlier day."""
CLOCK_SLACK_S = 60.0


class State(StrEnum):
    """How a matter stands."""

    GOOD = "good"
    LOOK = "look"
    """It works, but not all of it, or not for every use."""
    BAD = "bad"


@dataclass(frozen=True, slots=True)
class Finding:
    """One matter that was looked at."""

    subject: str
    state: State
    text: str
    """What was found, one plain sentence without a full stop."""
    hint: str = ""
    """What to do; empty where there is nothing to do."""


def terminal(
    size: os.terminal_size | None, environment: Mapping[str, str], encoding: str | None
) -> Finding:
    """Look at the terminal.

    Args:
        size: Of the terminal; None where the output is none.
        environment: Variables of the environment.
        encoding: Of the output.
    """
    if size is None:
        return Finding(
            "terminal", State.LOOK, "the output is no terminal", "use --plain or --json here"
        )
    seen = f"{size.columns}x{size.lines}"
    if (encoding or "").lower().replace("-", "") != "utf8":
        return Finding(
            "terminal",
            State.BAD,
            f"{seen}, but its encoding is {encoding or 'unknown'}",
            "set a UTF-8 locale: export LANG=C.UTF-8",
        )
    if size.columns < LEAST_COLUMNS or size.lines < LEAST_LINES:
        return Finding(
            "terminal",
            State.BAD,
            f"{seen} is too small",
            f"make it {LEAST_COLUMNS}x{LEAST_LINES} or larger",
        )
    if environment.get("NO_COLOR"):
        return Finding("terminal", State.GOOD, f"{seen}, UTF-8, without colour as NO_COLOR asks")
    if environment.get("COLORTERM") in ("truecolor", "24bit"):
        return Finding("terminal", State.GOOD, f"{seen}, UTF-8, all colours")
    return Finding("terminal", State.GOOD, f"{seen}, UTF-8")


def serial_ports(ports: list[FoundPort]) -> Finding:
    """Look at the serial ports and whether this user may open them."""
    if not ports:
        return Finding(
            "serial",
            State.LOOK,
            "no serial port is there",
            "plug the receiver in, if it is a serial one",
        )
    shut = [each.device for each in ports if not _may_open(each.device)]
    if shut:
        names = ", ".join(shut)
        return Finding("serial", State.BAD, f"this user may not open {names}", permission_hint())
    names = ", ".join(each.device for each in ports)
    return Finding("serial", State.GOOD, names)


def bluetooth(listing: BleListing) -> Finding:
    """Look at what a scan for Bluetooth LE came to."""
    if listing.trouble:
        reason, _, hint = listing.trouble.rstrip(".").partition(". ")
        return Finding("bluetooth", State.LOOK, reason, hint)
    count = len(listing.peripherals)
    heard = "nothing advertises now" if count == 0 else f"{count} heard"
    return Finding("bluetooth", State.GOOD, f"Bluetooth LE works, {heard}")


def sound(*, installed: bool, trouble: str) -> Finding:
    """Look at what can be heard.

    Args:
        installed: Whether the optional audio library is there.
        trouble: Why no tone can be played; empty where one can.
    """
    if not installed:
        return Finding(
            "sound",
            State.LOOK,
            "the terminal's bell only",
            "for tones: pip install 'groundstation[sound]'",
        )
    if trouble:
        return Finding("sound", State.LOOK, f"the terminal's bell only: {trouble}")
    return Finding("sound", State.GOOD, "tones")


def settings(path: Path, *, asked: Path | None, vehicles: Path) -> Finding:
    """Read the settings and every vehicle's file.

    Args:
        path: Where the settings are looked for.
        asked: The file that the user named; None for the usual one.
        vehicles: Folder of the vehicles' files.
    """
    try:
        load_settings(asked)
        names = vehicle_names(vehicles)
        for name in names:
            load_vehicle(name, vehicles)
    except GroundstationError as error:
        return Finding("settings", State.BAD, error.message, error.hint)
    read = str(path) if path.exists() else f"none ({path}), all defaults"
    cars = f"; vehicles: {', '.join(names)}" if names else ""
    return Finding("settings", State.GOOD, read + cars)


def folder(sessions: Path) -> Finding:
    """Look whether sessions can be written, and for how long."""
    there = next(each for each in (sessions, *sessions.parents) if each.exists())
    try:
        with tempfile.TemporaryFile(dir=there):
            free_mb = shutil.disk_usage(there).free // 1_000_000
    except OSError as error:
        trouble = trouble_of(error, there)
        return Finding("sessions", State.BAD, trouble.reason, trouble.advice)
    if free_mb < LEAST_FREE_MB:
        return Finding(
            "sessions", State.BAD, f"{sessions}: only {free_mb} MB are free", "free some space"
        )
    return Finding("sessions", State.GOOD, f"{sessions}, {free_mb / 1000:.0f} GB free")


def clock(now: datetime, sessions: Path) -> Finding:
    """Look whether the computer's clock can be right.

    Args:
        now: What it shows.
        sessions: A recording from the future shows that the clock was set back.
    """
    shown = now.strftime("%Y-%m-%d %H:%M")
    newest_s = max((each.stat().st_mtime for each in sessions.glob(f"*{SUFFIX}")), default=0.0)
    set_back = newest_s > now.timestamp() + CLOCK_SLACK_S
    if now.replace(tzinfo=None) < EARLIEST or set_back:
        why = "a recording is from later" if set_back else "that is past"
        return Finding(
            "clock",
            State.BAD,
            f"it shows {shown}, but {why}",
            "set it: sessions and checks are named and aged by it",
        )
    return Finding("clock", State.GOOD, shown)


def _may_open(device: str) -> bool:
    try:
        if sys.platform == "win32" or not stat.S_ISCHR(os.stat(device).st_mode):
            return True
    except OSError:
        return True  # gone meanwhile: no matter of permission
    return os.access(device, os.R_OK | os.W_OK)
