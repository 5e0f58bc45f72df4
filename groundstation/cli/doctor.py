"""`groundstation doctor`: is this computer ready for the track?"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import sys
from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from groundstation.cli.options import add_settings_options
from groundstation.clock import MonotonicClock
from groundstation.errors import SettingsError
from groundstation.settings import Settings, load_settings, sessions_folder, settings_path
from groundstation.vehicles import vehicles_folder

if TYPE_CHECKING:
    from groundstation.checkup import Finding

SUMMARY = "look whether this computer is ready: terminal, ports, Bluetooth, sound, folders, clock"
EXAMPLES = (
    ("groundstation doctor", "the evening before"),
    ("groundstation doctor --json", "as data"),
)

SCAN_S = 2.0
TONE_S = 3.0
"""A sound device that has not answered by then does not."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code: 1 where something is in the way."""
    from groundstation.checkup import State
    from groundstation.cli.marks import BAD, GOOD, LOOK, marked

    marks = {State.GOOD: GOOD, State.LOOK: LOOK, State.BAD: BAD}
    findings = _look(arguments)
    ready = all(each.state is not State.BAD for each in findings)
    if arguments.json:
        print(json.dumps({"ready": ready, "findings": [asdict(each) for each in findings]}))
        return 0 if ready else 1
    for each in findings:
        print(marked(marks[each.state], f"{each.state:<5} {each.subject:<10} ", each.text))
        if each.hint:
            print(marked(" ", f"{'':<17}", f"-> {each.hint}"))
    return 0 if ready else 1


def _look(arguments: argparse.Namespace) -> list[Finding]:
    from groundstation import checkup
    from groundstation.sound.tone_output import tones_installed
    from groundstation.sources.ble_listing import list_ble
    from groundstation.sources.listing import list_serial_ports

    try:
        settings = load_settings(arguments.settings)
    except SettingsError:
        settings = Settings()  # said below; the rest is looked at all the same
    sessions = sessions_folder(settings, arguments.sessions)
    size = os.get_terminal_size() if sys.stdout.isatty() else None
    installed = tones_installed()
    return [
        checkup.terminal(size, os.environ, sys.stdout.encoding),
        checkup.serial_ports(list_serial_ports()),
        checkup.bluetooth(asyncio.run(list_ble(SCAN_S, clock=MonotonicClock()))),
        checkup.sound(installed=installed, trouble=_tone_trouble() if installed else ""),
        checkup.settings(
            arguments.settings or settings_path(),
            asked=arguments.settings,
            vehicles=vehicles_folder(arguments.settings),
        ),
        checkup.folder(sessions),
        checkup.clock(datetime.now().astimezone(), sessions),
    ]


def _tone_trouble() -> str:
    """Return why no tone can be played; empty where one can. None is."""
    from groundstation.sound.tone_output import ToneOutput

    output = ToneOutput()
    output.prepare()
    try:
        if output.ready.wait(TONE_S):
            return ""
        return output.trouble.rpartition(": ")[2] or "the sound device does not answer"
    finally:
        output.close()
