"""`groundstation live SOURCE`: watch a car."""

from __future__ import annotations

import argparse

from groundstation.cli.options import (
    add_output_options,
    add_recording_options,
    add_settings_options,
    add_vehicle_options,
    choose,
    duration,
)
from groundstation.clock import MonotonicClock
from groundstation.sources.base import open_source

SUMMARY = "watch a car, record what it sends, warn before the control link is lost"
EXAMPLE = "groundstation live serial:/dev/ttyUSB0 --baud 115200"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "source",
        help="serial:PATH (or just the path or COM name), tcp://HOST:PORT, udp://HOST:PORT, "
        "simulated:SCENARIO",
    )
    parser.add_argument("--baud", type=int, help="speed of a serial port")
    parser.add_argument(
        "--for", dest="for_s", type=duration, metavar="SECONDS", help="stop after this long"
    )
    add_output_options(parser)
    add_vehicle_options(parser)
    add_recording_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.watching import watch

    choices = choose(arguments)
    clock = MonotonicClock()
    source = open_source(
        arguments.source, clock=clock, baud=arguments.baud or choices.settings.baud
    )
    return watch(source, arguments, choices, clock)
