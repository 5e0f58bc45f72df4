"""`groundstation report SESSION`: what happened, as a page with plots and as a summary."""

from __future__ import annotations

import argparse
import json
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from groundstation.cli.analysing import add_speed_unit, analysed, claimed, on_one_core, working
from groundstation.cli.options import above_zero, add_settings_options, add_vehicle_options
from groundstation.errors import SessionFileError, UsageError
from groundstation.settings import load_settings
from groundstation.whole_file import written_whole

if TYPE_CHECKING:
    from groundstation.analysis.session import Questions

SUMMARY = "report on a session: speed with its error, link, yaw, shocks, braking, what came first"
EXAMPLES = (
    ("groundstation report last", "the newest session: a summary here, and a page with plots"),
    ("groundstation report last --trap=-50,50", "with the speed over 100 m of the course"),
    ("groundstation report last --json", "the same figures as data"),
)

ROUND_STEPS = {"km/h": 20.0, "mph": 10.0, "m/s": 5.0}
"""From row to row of the steering schedule, in the unit of the screen."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "session", help="a session file, a raw capture, part of a session's name, or `last`"
    )
    output = parser.add_argument_group("output")
    output.add_argument(
        "--out", type=Path, metavar="FILE", help="the page; default: the session's name with .html"
    )
    output.add_argument("--force", action="store_true", help="write over a page that is there")
    output.add_argument("--json", action="store_true", help="one JSON object, and no page")
    add_speed_unit(output)
    asked = parser.add_argument_group("questions")
    asked.add_argument(
        "--trap",
        type=trap,
        metavar="FROM,TO",
        help="measure speed between two places along the course, metres (write --trap=-50,50)",
    )
    asked.add_argument("--wheelbase", type=above_zero, metavar="METRES", help="between the axles")
    asked.add_argument(
        "--lock", type=above_zero, metavar="DEG", help="wheel angle at 100 %% steering"
    )
    asked.add_argument(
        "--servo-lag",
        type=above_zero,
        metavar="SECONDS",
        help="until the wheels have made 63 %% of a sudden step, as a film shows it",
    )
    asked.add_argument(
        "--lateral-g",
        type=above_zero,
        metavar="G",
        help="with wheelbase and lock: a steering schedule for this side acceleration",
    )
    braking = parser.add_argument_group("braking")
    braking.add_argument(
        "--accept-braking",
        metavar="VEHICLE",
        help="write the learned braking into this vehicle's file",
    )
    braking.add_argument("--yes", action="store_true", help="without a question")
    add_vehicle_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code.

    Raises:
        UsageError: The page is there already, or something that cannot be was asked for.
        SessionFileError: The session cannot be read or the page not written.
    """
    on_one_core()
    questions = _questions(arguments)
    if arguments.json and (arguments.out or arguments.accept_braking):
        raise UsageError("--json writes one object and nothing else", "Leave the others out")
    try:
        with working("analysing"):
            recording, telling = analysed(arguments, questions)
    except ValueError as error:
        raise UsageError(str(error)) from error
    if arguments.json:
        from groundstation.report.figures import report_figures

        print(json.dumps(report_figures(telling), allow_nan=False))
        return 0
    from groundstation.cli.report_text import print_report
    from groundstation.report.page import page

    out = claimed(arguments.out or Path(f"{recording.path.stem}.html"), force=arguments.force)
    try:
        with written_whole(out) as part:
            part.write_text(page(telling), encoding="utf-8", newline="\n")
    except OSError as error:
        raise SessionFileError(f"cannot write {out}: {error.strerror or error}") from error
    print_report(telling, out)
    if arguments.accept_braking:
        from groundstation.cli.accepting import accept_braking

        accept_braking(
            telling.analysis, arguments.accept_braking, arguments.settings, yes=arguments.yes
        )
    return 0


def trap(text: str) -> tuple[float, float]:
    """Return two different places along the course."""
    first_m, last_m = (float(part) for part in text.split(","))
    if not (isfinite(first_m) and isfinite(last_m)) or first_m == last_m:
        raise ValueError
    return first_m, last_m


def _questions(arguments: argparse.Namespace) -> Questions:
    from groundstation.analysis.session import Questions, SteeringQuestion
    from groundstation.analysis.yaw_model import CarGeometry

    wheelbase_m, lock_deg, lateral_g = arguments.wheelbase, arguments.lock, arguments.lateral_g
    steering = None
    if lateral_g is not None:
        if wheelbase_m is None or lock_deg is None:
            raise UsageError("a steering schedule needs --wheelbase, --lock and --lateral-g")
        unit = arguments.units or load_settings(arguments.settings).units
        steering = SteeringQuestion(
            wheelbase_m, lock_deg, lateral_g, step_mps=ROUND_STEPS[unit] / unit.per_mps
        )
    geometry = CarGeometry(wheelbase_m, lock_deg, arguments.servo_lag)
    return Questions(trap_m=arguments.trap, steering=steering, geometry=geometry)
