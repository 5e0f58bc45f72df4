"""`groundstation compare SESSION...`: did a change of set-up help, or was it luck?"""

from __future__ import annotations

import argparse
import json
import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from groundstation.cli.analysing import add_speed_unit, analysed, on_one_core
from groundstation.cli.options import add_settings_options, add_vehicle_options
from groundstation.cli.report import trap
from groundstation.errors import UsageError

if TYPE_CHECKING:
    from groundstation.report.words import Telling

SUMMARY = "compare passes by set-up sheet: what each change did, and whether it may be luck"
EXAMPLES = (
    (
        "groundstation compare oscillation_before oscillation_after",
        "what the change between two sessions did",
    ),
    (
        "groundstation compare hard_tyres soft_tyres --trap=0,100",
        "with the speed over 100 m as well",
    ),
)

LONG_AGO = datetime.min.replace(tzinfo=UTC)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "sessions_named",
        nargs="+",
        metavar="SESSION",
        help="session files, or parts of sessions' names; each with its set-up sheet",
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument(
        "--trap",
        type=trap,
        metavar="FROM,TO",
        help="measure speed between two places along the course, metres (write --trap=-50,50)",
    )
    add_speed_unit(parser)
    add_vehicle_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code.

    Raises:
        UsageError: A session is not there, or named twice.
        SessionFileError: A session cannot be read.
    """
    on_one_core()
    from groundstation.analysis.compare import compare
    from groundstation.analysis.compare_trial import PassFigures
    from groundstation.analysis.compared_figures import KINDS, figures_of

    tellings = sorted(_tellings(arguments), key=lambda each: each.sheet.started or LONG_AGO)
    passes = [
        PassFigures(telling.sheet.file, telling.sheet.flat_setup, figures_of(one))
        for telling in tellings
        for one in telling.analysis.passes
    ]
    comparison = compare(passes, KINDS)
    if arguments.json:
        from groundstation.cli.compare_figures import compare_figures

        print(json.dumps(compare_figures(comparison, tellings, passes), allow_nan=False))
    else:
        from groundstation.cli.compare_text import print_comparison

        print_comparison(comparison, tellings)
    return 0


def _tellings(arguments: argparse.Namespace) -> list[Telling]:
    from rich.console import Console
    from rich.progress import track

    from groundstation.analysis.session import Questions

    questions = Questions(trap_m=arguments.trap)
    found: dict[str, Telling] = {}
    progress = track(
        arguments.sessions_named,
        description="reading",
        console=Console(stderr=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )
    for name in progress:
        one = argparse.Namespace(**{**vars(arguments), "session": name})
        recording, telling = analysed(one, questions)
        path = str(recording.path.resolve())
        if path in found:
            raise UsageError(f"{recording.path.name} is named twice")
        found[path] = telling
    return list(found.values())
