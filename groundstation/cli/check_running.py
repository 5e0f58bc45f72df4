"""Joins a source, a check and what leads it; shows or prints what it came to."""

from __future__ import annotations

import argparse
import asyncio
import sys
from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from groundstation import __version__
from groundstation.cli.check_leading import lead
from groundstation.cli.check_output import print_json, print_plain
from groundstation.cli.check_script import read_script
from groundstation.cli.checking import CheckedTelemetry, CheckStation
from groundstation.cli.options import Choices
from groundstation.cli.plain_lines import PlainLines
from groundstation.cli.running import until_terminated
from groundstation.cli.watching import session_facts
from groundstation.clock import Clock
from groundstation.rangecheck.check import RangeCheck
from groundstation.rangecheck.record import Bound, CheckRecord, Verdict
from groundstation.rangecheck.setting import CheckSetting, CourseSetting, WalkSetting
from groundstation.rangecheck.staleness import setup_hash
from groundstation.recording.checks import checks_folder, list_checks
from groundstation.recording.writer import Recorder
from groundstation.sources.base import Source

NO_COURSE = "no --course-length, no --top-speed: without them the verdict is HOLD"


def run_check(
    source: Source,
    arguments: argparse.Namespace,
    choices: Choices,
    clock: Clock,
    *,
    headless: bool,
) -> int:
    """Run a check in the way that was asked for; return 0 for GO, 1 for HOLD.

    Raises:
        SettingsError: The script or the set-up sheet cannot be read.
    """
    sayings = read_script(arguments.script) if arguments.script else ()
    station = build_station(source, arguments, choices, clock)
    lines = sys.stdin if arguments.stdin else None
    if headless:
        if not arguments.json:
            station.add_listener(PlainLines(choices.unit))
        with suppress(asyncio.CancelledError, KeyboardInterrupt):
            asyncio.run(
                until_terminated(lambda: lead(station, sayings, lines=lines, for_s=arguments.for_s))
            )
    else:
        _run_screen(station, arguments, choices)
    record = station.record()
    trouble = station.keeping_trouble or station.record_state.trouble
    if arguments.json:
        session = station.session_path()
        print_json(record, kept_as=station.kept_as, session=session, trouble=trouble)
    else:
        print_plain(record, kept_as=station.kept_as, trouble=trouble)
    return 0 if record.verdict is Verdict.GO else 1


def build_station(
    source: Source, arguments: argparse.Namespace, choices: Choices, clock: Clock
) -> CheckStation:
    """Return the session of a check.

    Raises:
        SettingsError: The set-up sheet cannot be read.
    """
    facts, folder = session_facts(arguments, choices, source.name), checks_folder(choices.sessions)
    checked = datetime.now().astimezone()
    check = RangeCheck(
        choices.profile,
        setting=check_setting(arguments, choices),
        table=choices.table,
        earlier=_earlier(choices),
        bound=_bound(arguments, facts),
    )

    def start_recorder() -> Recorder:
        return Recorder(
            choices.sessions, facts=facts, started=checked, software_version=__version__
        )

    telemetry = CheckedTelemetry(check, choices.profile, table=choices.table)
    if arguments.course_length is None or arguments.top_speed is None:
        telemetry.said = NO_COURSE
    station = CheckStation(
        telemetry=telemetry,
        folder=folder,
        checked=checked,
        source=source,
        clock=clock,
        keeper=choices.keeper,
        start_recorder=None if arguments.no_record else start_recorder,
    )
    if arguments.station:
        station.place_driver(*arguments.station)
    return station


def check_setting(arguments: argparse.Namespace, choices: Choices) -> CheckSetting:
    """Return what the options of the command come to."""
    course = CourseSetting()
    if arguments.course_length is not None:
        course = replace(course, far_end_m=arguments.course_length)
    if arguments.top_speed is not None:
        course = replace(course, top_speed_mps=arguments.top_speed / choices.unit.per_mps)
    walk = WalkSetting(marks_m=arguments.marks, attenuation_db=arguments.attenuation)
    return CheckSetting(course=course, walk=walk)


def _earlier(choices: Choices) -> list[CheckRecord]:
    """Return every check that can be read, oldest first; of which vehicle, the check sorts out."""
    stored = list_checks(checks_folder(choices.sessions))
    return [each.record for each in reversed(stored) if each.record is not None]


def _bound(arguments: argparse.Namespace, facts: dict[str, object]) -> Bound:
    sheet = facts.get("setup")
    return Bound(
        setup_hash=setup_hash(sheet) if isinstance(sheet, dict) else "",
        place=arguments.place,
        pack=arguments.pack,
        starts_anew=arguments.new_start,
    )


def _run_screen(station: CheckStation, arguments: argparse.Namespace, choices: Choices) -> None:
    from groundstation.screens.check import CheckApp

    app = CheckApp(station, theme=choices.theme, on_start=lambda: station.run(arguments.for_s))
    failure = app.run(mouse=False)  # the terminal's own text selection stays usable
    if failure is not None:
        raise failure
