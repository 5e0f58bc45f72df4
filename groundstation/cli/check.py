"""`groundstation check SOURCE`: the range check before the run, and the checks there were.

Led by a screen, or without one by `--script FILE` (see `check_script` for its format), by plain
words a line on standard input (`--stdin`, see `check_words`), or by `--marks` alone.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from math import isfinite
from pathlib import Path

from groundstation import cautions
from groundstation.cli.check_words import VOCABULARY
from groundstation.cli.options import (
    above_zero,
    add_recording_options,
    add_settings_options,
    add_vehicle_options,
    choose,
    duration,
    position,
)
from groundstation.clock import MonotonicClock
from groundstation.errors import UsageError
from groundstation.units import SpeedUnit

SUMMARY = "check sensors, failsafe and radio range before the run: GO or HOLD, with the reason"
EXAMPLES = (
    (
        "groundstation check sandpiper --course-length 150 --top-speed 140",
        "guided on the screen, for 150 m at 140 km/h",
    ),
    (
        "groundstation check /dev/ttyUSB0 --stdin --plain",
        "without a screen, led by words a line each",
    ),
    ("groundstation check --history Sandpiper", "the checks of a car so far"),
)

CAUTION = (
    f"{cautions.ADVICE} {cautions.FAILSAFE} It is proven with the car held up, driven wheels free, "
    f"nobody in reach of them. {cautions.COURSE} {cautions.DOUBT}"
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.description = f"{parser.description} {CAUTION}"
    parser.add_argument(
        "source", nargs="?", help="as for `live`, or the name of a vehicle that has a file"
    )
    parser.add_argument(
        "--history", metavar="VEHICLE", help="list and plot the checks of a vehicle, and end"
    )
    parser.add_argument(
        "--vehicle", metavar="NAME", help="name of a car that does not tell its own"
    )
    parser.add_argument("--baud", type=int, help="speed of a serial port")
    parser.add_argument(
        "--for", dest="for_s", type=duration, metavar="SECONDS", help="stop after this long"
    )
    _add_course(parser)
    _add_leading(parser)
    add_vehicle_options(parser)
    add_recording_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code: 0 GO, 1 HOLD."""
    from groundstation.vehicles import vehicles_folder, watched

    if arguments.history is not None:
        from groundstation.cli.check_history import show_history

        return show_history(arguments.history, choose(arguments), as_json=arguments.json)
    if arguments.source is None:
        raise UsageError("check needs a source", "`groundstation sources` lists what is there")
    name, vehicle = watched(arguments.source, vehicles_folder(arguments.settings))
    has_screen = sys.stdout.isatty() and sys.stdin.isatty()
    is_led = arguments.script or arguments.stdin
    headless = arguments.plain or arguments.json or is_led or not has_screen
    if headless and not (is_led or arguments.marks or arguments.for_s):
        raise UsageError(
            "nobody leads this check", "give --script, --stdin or --marks, or use a terminal"
        )
    from groundstation.cli.check_running import run_check
    from groundstation.sources.base import open_source

    choices, clock = choose(arguments, vehicle), MonotonicClock()
    choices = replace(choices, profile=replace(choices.profile, name=arguments.vehicle))
    source = open_source(name, clock=clock, baud=choices.baud)
    return run_check(source, arguments, choices, clock, headless=bool(headless))


def _add_course(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("course")
    group.add_argument(
        "--course-length",
        type=above_zero,
        metavar="METRES",
        help="from the driver to the far end, where the throttle is lifted at the latest",
    )
    group.add_argument(
        "--top-speed",
        type=above_zero,
        metavar="SPEED",
        help="planned, in the unit of --units; with the braking it gives the overrun",
    )
    group.add_argument(
        "--attenuation",
        type=_not_negative,
        default=0.0,
        metavar="DB",
        help="by how much the transmitter is turned down for the walk (default 0)",
    )
    group.add_argument(
        "--marks",
        type=_marks,
        default=(),
        metavar="METRES,...",
        help="distances that will be walked to, in this order: holds then begin by themselves",
    )
    group.add_argument(
        "--pack", default="", metavar="NAME", help="the pack in the car; the check is bound to it"
    )
    group.add_argument(
        "--new-start",
        action="store_true",
        help="the car was changed for good: compare with no earlier check, now or later",
    )
    group.add_argument("--place", default="", metavar="TEXT", help="where the check is made")
    group.add_argument(
        "--station", type=position, metavar="LAT,LON", help="where the driver stands, degrees"
    )


def _add_leading(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group(
        "without a screen",
        "A script is TOML: tables [[say]] with at_s (seconds of the session) or after_s (seconds "
        f"after the one before) and what. Words for what, and for a line: {VOCABULARY}.",
    )
    who = group.add_mutually_exclusive_group()
    who.add_argument("--script", type=Path, metavar="FILE", help="what to say when (TOML)")
    who.add_argument("--stdin", action="store_true", help="words come a line each; then verdict")
    group = parser.add_argument_group("output")
    how = group.add_mutually_exclusive_group()
    how.add_argument("--plain", action="store_true", help="readable lines, then the verdict")
    how.add_argument("--json", action="store_true", help="one JSON object at the end")
    group.add_argument("--units", type=SpeedUnit, choices=list(SpeedUnit), help="unit of speed")
    group.add_argument("--theme", choices=["dark", "sunlight"], help="colours of the screen")


def _not_negative(text: str) -> float:
    value = float(text)
    if not (isfinite(value) and value >= 0):
        raise ValueError
    return value


def _marks(text: str) -> tuple[float, ...]:
    return tuple(above_zero(part) for part in text.split(","))
