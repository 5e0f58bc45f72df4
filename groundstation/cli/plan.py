"""`groundstation plan`: what margin to expect along a course, the evening before."""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from math import isfinite
from typing import TYPE_CHECKING

from groundstation.cli.options import Choices, add_settings_options, choose
from groundstation.cli.plan_words import CAUTION
from groundstation.errors import UsageError
from groundstation.units import SpeedUnit
from groundstation.vehicles import VehicleFile, load_vehicle, vehicle_names, vehicles_folder
from groundstation.wording import printable

if TYPE_CHECKING:
    from groundstation.planning.course import Course, Radio
    from groundstation.planning.margins import Checked
    from groundstation.planning.plan import Plan
    from groundstation.rangecheck.record import CheckRecord

SUMMARY = "plan a course: where to stand, how long it may be, how high to hold the transmitter"
EXAMPLES = (
    (
        "groundstation plan --length 300 --speed 180 --transmitter-height 1.5",
        "what margin to expect up to the far end and beyond it",
    ),
    (
        "groundstation plan --vehicle sandpiper --driver-at mid",
        "as the car's file says, from mid-course",
    ),
    ("groundstation plan --length 300 --ground wet --json", "after rain, as data"),
)

GROUND_NAMES = ("asphalt", "concrete", "sand", "soil", "wet")

ASSUMED = {
    "length": 200.0,
    "driver_aside": 3.0,
    "transmitter_height": 1.2,
    "car_height": 0.05,
    "frequency": 2400.0,
    "power": 20.0,
    "transmitter_gain": 2.0,
    "car_gain": 0.0,
    "losses": 3.0,
    "threshold": -95.0,
}
"""Where nothing is said; the text names every one that was taken. The radio is a common one, 100 mW
into a receiver of 1 MHz (common practice, no source)."""

ASSUMED_PLACE_M, ASSUMED_GROUND, ASSUMED_POLARISATION = 0.0, "asphalt", "vertical"
ASSUMED_SPEED_MPS = 100.0 / 3.6
CHECKED_TO_M = 100.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.description = f"{parser.description} {CAUTION}"
    course = parser.add_argument_group("course")
    _number(course, "--length", "METRES", "from the start to the far end")
    course.add_argument(
        "--driver-at",
        type=_driver_at,
        metavar="METRES|mid",
        help="where the driver stands along the course, negative before its start (write "
        "--driver-at=-20), or `mid` for its middle; default 0, the start",
    )
    _number(course, "--driver-aside", "METRES", "from the car's line to the driver")
    course.add_argument(
        "--speed",
        type=float,
        metavar="SPEED",
        help="at the far end, in the unit of --units; default 100 km/h",
    )
    course.add_argument("--units", type=SpeedUnit, choices=list(SpeedUnit), help="unit of speed")
    course.add_argument(
        "--react", type=float, metavar="SECONDS", help="from the warning to the lifted throttle"
    )
    course.add_argument("--decel", type=float, metavar="MPS2", help="braking deceleration, m/s²")
    radio = parser.add_argument_group("control link")
    _number(radio, "--transmitter-height", "METRES", "of its antenna over the ground")
    _number(radio, "--car-height", "METRES", "of the car's antenna over the ground")
    _number(radio, "--frequency", "MHZ", "of the control link")
    _number(radio, "--power", "DBM", "of the transmitter")
    _number(radio, "--transmitter-gain", "DBI", "of the transmitter's antenna")
    _number(radio, "--car-gain", "DBI", "of the car's antenna")
    _number(radio, "--losses", "DB", "cables, bodywork, antennas that lie across")
    _number(radio, "--threshold", "DBM", "level at which the control receiver stops")
    radio.add_argument("--margin", type=float, metavar="DB", help="to be kept; default 10")
    radio.add_argument("--ground", choices=GROUND_NAMES, help="of the course; default asphalt")
    radio.add_argument(
        "--polarisation",
        choices=["vertical", "horizontal"],
        help="how the antennas stand; default vertical",
    )
    checked = parser.add_argument_group("range check")
    checked.add_argument(
        "--level-at-1m",
        type=float,
        metavar="DBM",
        help="fitted level at one metre; with --exponent, the plan is judged by it",
    )
    checked.add_argument("--exponent", type=float, metavar="N", help="fitted distance exponent")
    checked.add_argument(
        "--checked-to",
        type=float,
        metavar="METRES",
        help=f"farthest distance of the check; default {CHECKED_TO_M:g}",
    )
    parser.add_argument(
        "--vehicle",
        metavar="NAME",
        help="take threshold, margin and braking from its file, judge by its newest range check",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code.

    Raises:
        UsageError: Something that cannot be was asked for.
    """
    from groundstation.cli.plan_figures import plan_figures
    from groundstation.cli.plan_text import print_plan
    from groundstation.cli.plan_words import Told
    from groundstation.planning.plan import make_plan

    vehicle = load_vehicle(arguments.vehicle or "", vehicles_folder(arguments.settings))
    choices = choose(arguments, vehicle)
    check = _latest_check(arguments, choices)
    if arguments.vehicle is not None and vehicle is None and check is None:
        raise _unknown(arguments)
    if choices.profile.threshold_dbm is None and check is not None:
        choices = _with_threshold(choices, check.threshold_dbm)
    assumed = _assumed(arguments, choices, vehicle or VehicleFile())
    required_db = choices.profile.limits.required_margin_db
    if arguments.margin is not None:
        required_db = arguments.margin
        if not (isfinite(required_db) and 0.0 <= required_db <= 60.0):
            raise UsageError(f"the margin to be kept is {required_db:g} dB, not from 0 to 60 dB")
    try:
        course, radio = _course(arguments, choices), _radio(arguments, choices)
        checked = _checked_by_hand(arguments, radio) or _checked(check, radio)
        plan: Plan = make_plan(course, radio, required_margin_db=required_db, checked=checked)
    except ValueError as error:
        raise UsageError(str(error)) from error
    told = Told(vehicle=arguments.vehicle, check=check, assumed=assumed)
    if arguments.json:
        print(json.dumps(plan_figures(plan, told), allow_nan=False))
    else:
        print_plan(plan, told, choices.unit)
    return 0


def _number(group: argparse._ArgumentGroup, name: str, unit: str, meaning: str) -> None:
    default = ASSUMED[name.removeprefix("--").replace("-", "_")]
    group.add_argument(name, type=float, metavar=unit, help=f"{meaning}; default {default:g}")


def _driver_at(text: str) -> float | str:
    return text if text == "mid" else float(text)


def _latest_check(arguments: argparse.Namespace, choices: Choices) -> CheckRecord | None:
    """Return the vehicle's newest range check that a law could be fitted to."""
    if arguments.vehicle is None or arguments.level_at_1m is not None:
        return None
    from groundstation.recording.checks import checks_folder, earlier_checks

    checks = earlier_checks(checks_folder(choices.sessions), arguments.vehicle)
    return next((check for check in reversed(checks) if check.prior is not None), None)


def _unknown(arguments: argparse.Namespace) -> UsageError:
    folder = vehicles_folder(arguments.settings)
    known = ", ".join(printable(name) for name in vehicle_names(folder)) or "none"
    return UsageError(
        f"there is no file and no range check of a vehicle {arguments.vehicle!r}",
        f"vehicles with a file in {folder}: {known}",
    )


def _with_threshold(choices: Choices, threshold_dbm: float | None) -> Choices:
    return replace(choices, profile=replace(choices.profile, threshold_dbm=threshold_dbm))


def _said(arguments: argparse.Namespace, name: str) -> float:
    value: float | None = getattr(arguments, name)
    return ASSUMED[name] if value is None else value


def _assumed(
    arguments: argparse.Namespace, choices: Choices, vehicle: VehicleFile
) -> frozenset[str]:
    """Return the names of the options for which nobody said anything."""
    asked = (*ASSUMED, "driver_at", "ground", "polarisation", "speed")
    silent = {name for name in asked if getattr(arguments, name) is None}
    if choices.profile.threshold_dbm is not None:
        silent.discard("threshold")
    if arguments.react is None and vehicle.stopping.react_s is None:
        silent.add("react")
    if arguments.decel is None and vehicle.stopping.decel_mps2 is None:
        silent.add("decel")
    return frozenset(silent)


def _course(arguments: argparse.Namespace, choices: Choices) -> Course:
    from groundstation.planning.course import Course

    braking = choices.profile.braking
    if arguments.react is not None:
        braking = replace(braking, react_s=arguments.react)
    if arguments.decel is not None:
        braking = replace(braking, decel_mps2=arguments.decel)
    place = ASSUMED_PLACE_M if arguments.driver_at is None else arguments.driver_at
    speed_mps = ASSUMED_SPEED_MPS
    if arguments.speed is not None:
        speed_mps = arguments.speed / choices.unit.per_mps
    return Course(
        length_m=_said(arguments, "length"),
        driver_at_m=None if place == "mid" else place,
        driver_aside_m=_said(arguments, "driver_aside"),
        speed_mps=speed_mps,
        braking=braking,
    )


def _radio(arguments: argparse.Namespace, choices: Choices) -> Radio:
    from groundstation.planning.course import Radio
    from groundstation.planning.grounds import GROUNDS
    from groundstation.radio.budget import LinkBudget
    from groundstation.radio.propagation import Polarisation

    threshold_dbm = choices.profile.threshold_dbm
    return Radio(
        budget=LinkBudget(
            transmit_power_dbm=_said(arguments, "power"),
            threshold_dbm=ASSUMED["threshold"] if threshold_dbm is None else threshold_dbm,
            transmit_gain_dbi=_said(arguments, "transmitter_gain"),
            receive_gain_dbi=_said(arguments, "car_gain"),
            other_losses_db=_said(arguments, "losses"),
        ),
        transmitter_height_m=_said(arguments, "transmitter_height"),
        car_height_m=_said(arguments, "car_height"),
        frequency_hz=_said(arguments, "frequency") * 1e6,
        ground=GROUNDS[arguments.ground or ASSUMED_GROUND],
        polarisation=Polarisation(arguments.polarisation or ASSUMED_POLARISATION),
    )


def _checked(check: CheckRecord | None, radio: Radio) -> Checked | None:
    from groundstation.planning.margins import Checked

    return None if check is None or check.prior is None else Checked(check.prior, radio)


def _checked_by_hand(arguments: argparse.Namespace, radio: Radio) -> Checked | None:
    from groundstation.planning.margins import Checked
    from groundstation.radio.estimate import LinkPrior

    level_dbm, exponent, to_m = arguments.level_at_1m, arguments.exponent, arguments.checked_to
    if level_dbm is None and exponent is None and to_m is None:
        return None
    if level_dbm is None or exponent is None:
        raise UsageError("a range check is told by --level-at-1m and --exponent together")
    to_m = CHECKED_TO_M if to_m is None else to_m
    for name, value, low, high in (
        ("the level at one metre", level_dbm, -150.0, 60.0),
        ("the exponent", exponent, 1.0, 8.0),
        ("the farthest distance of the check", to_m, 5.0, 5000.0),
    ):
        if not (isfinite(value) and low <= value <= high):
            raise UsageError(f"{name} is {value:g}; it must be from {low:g} to {high:g}")
    prior = LinkPrior(
        level_at_1m_dbm=level_dbm,
        exponent=exponent,
        level_variance_db2=0.0,
        exponent_variance=0.0,
        covariance_db=0.0,
        reach_m=to_m,
    )
    return Checked(prior, radio)
