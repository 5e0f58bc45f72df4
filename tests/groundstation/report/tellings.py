"""Sessions to be told of: shipped ones, and the same with a label that means harm."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from groundstation.analysis.record import record_of
from groundstation.analysis.session import Questions, SteeringQuestion, analyse
from groundstation.recording.decoded import decode_tape
from groundstation.recording.reader import open_session
from groundstation.report.sheet import sheet_of
from groundstation.report.words import Telling
from groundstation.units import SpeedUnit
from protocol import standard_table
from tests.replay_data import FOLDER

HOSTILE = '<script>window.harmed = 1</script></script><!--"\x1b[2J'
"""A name that tries to run, to end the script it stands in, and to clear a terminal."""


@lru_cache
def telling_of(name: str, questions: Questions | None = None) -> Telling:
    """Return a shipped session, analysed once a test run."""
    path = FOLDER / f"{name}.session"
    tape = open_session(path)
    batch = decode_tape(tape, standard_table())
    vehicle = batch.first_vehicle
    assert vehicle is not None
    placed = tape.driver_placed()
    record = record_of(
        batch,
        vehicle=vehicle,
        driver=None if placed is None else (placed.latitude_deg, placed.longitude_deg),
    )
    analysis = analyse(record, questions)
    return Telling(analysis, sheet_of(Path(path.name), tape, batch, vehicle), SpeedUnit.KMH)


STEERING = Questions(
    trap_m=(-20.0, 20.0), steering=SteeringQuestion(0.36, 25.0, 0.8, step_mps=20.0 / 3.6)
)


def hostile_telling() -> Telling:
    """Return a session in which every text from outside is hostile."""
    telling = telling_of("opposite_passes")
    sheet = replace(
        telling.sheet,
        file=HOSTILE,
        source=HOSTILE,
        notes=(HOSTILE,),
        setup={HOSTILE: HOSTILE},
        checks={HOSTILE: {"verdict": HOSTILE, "checked": HOSTILE, "bound": {"place": HOSTILE}}},
        events=tuple(each._replace(kind="mark", text=HOSTILE) for each in telling.sheet.events[:3]),
    )
    record = replace(telling.analysis.record, name=HOSTILE)
    return Telling(replace(telling.analysis, record=record), sheet, telling.unit)
