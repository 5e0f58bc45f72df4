"""Reads a recording and has it analysed: what `report` and `compare` share."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from groundstation.cli.finding import Recording, open_recording
from groundstation.cli.options import choose
from groundstation.errors import SessionFileError, UsageError
from groundstation.recording.reader import SessionFile
from groundstation.units import SpeedUnit

if TYPE_CHECKING:
    from groundstation.analysis.session import Questions
    from groundstation.report.words import Telling


def analysed(
    arguments: argparse.Namespace, questions: Questions | None = None
) -> tuple[Recording, Telling]:
    """Return the recording named by `arguments.session`, and all that is told of it.

    Raises:
        UsageError: No recording is called that, or several are.
        SessionFileError: It cannot be read, or no good frame is in it.
        ValueError: Something was asked that cannot be.
    """
    from groundstation.analysis.record import record_of
    from groundstation.analysis.session import analyse
    from groundstation.recording.decoded import decode_tape
    from groundstation.report.sheet import sheet_of
    from groundstation.report.words import Telling

    recording = open_recording(arguments, choose(arguments))
    tape, choices = recording.tape, recording.choices
    batch = decode_tape(tape, choices.table)
    number = choices.profile.number
    vehicle = batch.first_vehicle if number is None else number
    if vehicle is None:
        raise SessionFileError(f"there is no good frame in {recording.path.name}")
    placed = tape.driver_placed() if isinstance(tape, SessionFile) else None
    record = record_of(
        batch,
        vehicle=vehicle,
        profile=choices.profile,
        driver=None if placed is None else (placed.latitude_deg, placed.longitude_deg),
    )
    if record.ends_s() is None:
        raise SessionFileError(f"vehicle {vehicle} was not heard in {recording.path.name}")
    sheet = sheet_of(recording.path, tape, batch, vehicle)
    return recording, Telling(analyse(record, questions), sheet, choices.unit)


def on_one_core() -> None:
    """Have linear algebra done on one core, unless the environment says otherwise.

    Must come before anything imports NumPy. The matrices of a car are small: dealing them out to
    several threads makes an analysis two to three times slower (measured on two cores).
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")


@contextmanager
def working(what: str) -> Iterator[None]:
    """Show on a terminal that something is being done, while it is."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status(what):
        yield


def add_speed_unit(parser: argparse._ActionsContainer) -> None:
    """Add in which unit speeds are told."""
    parser.add_argument("--units", type=SpeedUnit, choices=list(SpeedUnit), help="unit of speed")


def claimed(path: Path, *, force: bool) -> Path:
    """Return a file that may be written.

    Raises:
        UsageError: It is there already, and nobody said that it may be replaced.
    """
    path = path.expanduser()
    if path.exists() and not force:
        raise UsageError(f"{path} is there already", "Name another with --out, or say --force")
    return path
