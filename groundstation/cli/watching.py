"""Joins a source, the core and the recorder into a live session: what `live` and `demo` share."""

from __future__ import annotations

import argparse
import sys
import tomllib
from contextlib import AbstractAsyncContextManager, nullcontext
from dataclasses import asdict
from datetime import datetime
from functools import partial
from pathlib import Path

from groundstation import __version__
from groundstation.cli.check_standing import Standing, words_now
from groundstation.cli.options import Choices
from groundstation.cli.running import Bell, lines_for, run_headless, run_screen
from groundstation.clock import Clock
from groundstation.errors import SettingsError
from groundstation.recording.writer import Recorder
from groundstation.sound.listener import build_sound
from groundstation.sources.base import Source
from groundstation.station import Station
from groundstation.vehicle.telemetry import Telemetry


def watch(
    source: Source,
    arguments: argparse.Namespace,
    choices: Choices,
    clock: Clock,
    *,
    beside: AbstractAsyncContextManager[object] | None = None,
    standing: Standing | None = None,
) -> int:
    """Watch a source in the way that was asked for; return the exit code.

    Args:
        source: Where bytes come from.
        arguments: Of the command line.
        choices: What they and the settings come to.
        clock: The one that the source stamps with.
        beside: Entered while the session runs: the demonstration's car.
        standing: The range checks there have been; None asks for none.

    Raises:
        SettingsError: The set-up sheet cannot be read.
    """
    lines = lines_for(arguments, choices)
    facts = session_facts(arguments, choices, source.name)
    if standing is not None:
        facts["range_checks"] = standing.facts()

    def start_recorder() -> Recorder:
        return Recorder(
            choices.sessions,
            facts=facts,
            started=datetime.now().astimezone(),
            software_version=__version__,
        )

    station = Station(
        source,
        clock=clock,
        telemetry=Telemetry(choices.profile, table=choices.table),
        keeper=choices.keeper,
        start_recorder=None if arguments.no_record else start_recorder,
        listeners=[lines] if lines else [],
        check_words=None if standing is None else words_now(standing),
    )

    if arguments.station:
        station.place_driver(*arguments.station)
    bell = Bell(sys.stderr if lines and sys.stderr.isatty() else None)
    sound = build_sound(
        quiet=arguments.quiet or choices.settings.sound.quiet,
        bell=bell,
        clock=clock,
        trouble=_to_standard_error if arguments.json else partial(station.tell_watchers, "sound"),
        command=choices.settings.sound.commands,
        tones=choices.settings.sound.tones,
    )
    if sound:
        station.add_listener(sound)

    async def job() -> None:
        try:
            async with beside or nullcontext():
                await station.run(arguments.for_s)
        finally:
            if sound:
                sound.close()

    if lines:
        return run_headless(station, lines, job, session_file=station.session_path)
    return run_screen(station, choices, job, bell=bell)


def _to_standard_error(sentence: str) -> None:
    # A loudspeaker is no part of the session: its replay prints the very same JSON lines.
    print(f"groundstation: {sentence}", file=sys.stderr)


def session_facts(
    arguments: argparse.Namespace, choices: Choices, source_name: str
) -> dict[str, object]:
    """Return what is kept beside the bytes: who watched what, and how.

    Raises:
        SettingsError: The set-up sheet cannot be read.
    """
    facts: dict[str, object] = {
        "source": source_name,
        "profile": asdict(choices.profile),
        "channels": choices.channels_text,
    }
    if arguments.note:
        facts["notes"] = [arguments.note]
    if arguments.setup:
        facts["setup"] = read_sheet(arguments.setup)
    return facts


def read_sheet(path: Path) -> dict[str, object]:
    """Return a set-up sheet.

    Raises:
        SettingsError: It cannot be read.
    """
    try:
        with path.open("rb") as sheet:
            return tomllib.load(sheet)
    except OSError as error:
        raise SettingsError(f"cannot read the set-up sheet {path}: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: not TOML: {error}") from error
