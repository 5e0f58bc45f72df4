"""`groundstation live SOURCE`: watch a car."""

from __future__ import annotations

import argparse
from datetime import datetime

from groundstation.cli import demo
from groundstation.cli.options import (
    add_output_options,
    add_recording_options,
    add_settings_options,
    add_vehicle_options,
    add_watch_options,
    choose,
    duration,
)
from groundstation.clock import MonotonicClock
from groundstation.sources.base import open_source
from groundstation.vehicles import vehicles_folder, watched

SUMMARY = "watch a car, record what it sends, warn before the control link is lost"
EXAMPLES = (
    ("groundstation", "choose among what is there"),
    ("groundstation live /dev/ttyUSB0 --baud 115200", "watch a car on a serial port"),
    (
        "groundstation live ble:sandpiper --setup soft_tyres.toml",
        "over Bluetooth LE, with its set-up sheet",
    ),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "source",
        nargs="?",
        help="serial:PATH (or just the path or COM name), ble:NAME, tcp://HOST:PORT, "
        "udp://HOST:PORT, simulated:SCENARIO, or the name of a vehicle that has a file; "
        "without it, what is there is shown to choose from",
    )
    parser.add_argument("--baud", type=int, help="speed of a serial port")
    parser.add_argument(
        "--for", dest="for_s", type=duration, metavar="SECONDS", help="stop after this long"
    )
    parser.add_argument(
        "--pack",
        default="",
        metavar="NAME",
        help="the pack in the car; a range check is bound to it",
    )
    add_output_options(parser)
    add_vehicle_options(parser)
    add_watch_options(parser)
    add_recording_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.check_standing import read_standing, with_checks
    from groundstation.cli.picking import DEMO, pick_source
    from groundstation.cli.watching import read_sheet, watch

    folder = vehicles_folder(arguments.settings)
    name = arguments.source or pick_source(folder, theme=choose(arguments).theme)
    if name is None:
        return 0
    source_name, vehicle = watched(name, folder)
    if vehicle is None and arguments.source is None and name == DEMO:
        asked = vars(arguments) | {"scenario": demo.SCENARIO, "seed": demo.SEED}
        return demo.run(argparse.Namespace(**asked))
    choices, clock = choose(arguments, vehicle), MonotonicClock()
    sheet = read_sheet(arguments.setup) if arguments.setup else None
    standing = read_standing(choices, sheet=sheet, pack=arguments.pack)
    choices = with_checks(choices, standing, datetime.now().astimezone())
    source = open_source(source_name, clock=clock, baud=choices.baud)
    return watch(source, arguments, choices, clock, standing=standing)
