"""Writes a simulated car into a file, as fast as it can be reckoned.

Rule: the same scenario, seed and version give the same content, so a file can be made again.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from groundstation import __version__
from groundstation.cli.options import Choices
from groundstation.cli.progress import progress, told_now_and_then
from groundstation.cli.recording import record_through
from groundstation.errors import SessionFileError
from groundstation.inbound import BytesReceived, DriverPlaced, Inbound, LinkChanged, LinkState
from groundstation.recording.names import SUFFIX
from groundstation.recording.writer import Recorder
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import Simulation
from groundstation.whole_file import written_whole

INVENTED_START = datetime(2026, 1, 1, 12, tzinfo=UTC)
"""A simulated session has no date of its own; a fixed one lets it be made again."""


def write_simulation(arguments: argparse.Namespace, choices: Choices, out: Path) -> str:
    """Write a session file, or raw bytes where `out` does not end with .session; say what it was.

    Raises:
        SessionFileError: The file cannot be written.
    """
    end_at_s = arguments.for_s or scenario_named(arguments.scenario).duration_s
    inbounds = simulated_inbound(arguments.scenario, arguments.seed, arguments.for_s)
    with progress("simulating", end_at_s) as done:
        told = told_now_and_then(inbounds, lambda _, inbound: done(inbound.at_s))
        return _write(told, arguments, choices, out, end_at_s)


def _write(
    inbounds: Iterator[Inbound],
    arguments: argparse.Namespace,
    choices: Choices,
    out: Path,
    end_at_s: float,
) -> str:
    try:
        if out.suffix == SUFFIX:
            source = f"simulated:{arguments.scenario}?seed={arguments.seed}"
            record_session(inbounds, choices, out, source=source, end_at_s=end_at_s)
            return f"{out}  {end_at_s:.1f} s, session"
        with written_whole(out) as part, part.open("wb") as capture:
            size = sum(capture.write(i.data) for i in inbounds if isinstance(i, BytesReceived))
        return f"{out}  {size} bytes, raw capture"
    except OSError as error:
        raise SessionFileError(f"cannot write {out}: {error.strerror}") from error


def simulated_inbound(scenario: str, seed: int, for_s: float | None) -> Iterator[Inbound]:
    """Yield what a source would give, on the session clock."""
    began_s: float | None = None
    yield LinkChanged(0.0, LinkState.CONNECTED, f"simulated car, scenario {scenario}, seed {seed}")
    car = scenario_named(scenario)
    yield DriverPlaced(0.0, *car.course.driver_deg)
    for emission in Simulation(car, seed=seed):
        began_s = emission.at_s if began_s is None else began_s
        at_s = emission.at_s - began_s
        if for_s is not None and at_s >= for_s:
            return
        yield BytesReceived(at_s, emission.data)


def record_session(
    inbounds: Iterator[Inbound], choices: Choices, out: Path, *, source: str, end_at_s: float
) -> None:
    """Record events as a live session would have been.

    Args:
        inbounds: What came in, on the session clock.
        choices: How the session is watched.
        out: The file to write.
        source: What the session says it was recorded from.
        end_at_s: Where it ends, though nothing may be heard by then.

    Raises:
        SessionFileError: The session cannot be written.
    """
    with TemporaryDirectory(dir=out.parent) as folder:
        recorder = Recorder(
            Path(folder),
            facts={"source": source, "channels": choices.channels_text, "notes": ["invented data"]},
            started=INVENTED_START,
            software_version=__version__,
        )
        record_through(inbounds, recorder, choices, end_at_s=end_at_s)
        if recorder.trouble or recorder.path is None:
            raise SessionFileError(f"cannot write {out}: {recorder.trouble}")
        recorder.path.replace(out)
