"""What a recording says beside its frames: when, which car, set-up, notes, marks, the range check.

All of it comes from outside and is kept as it was said; whoever shows it escapes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np

from groundstation.analysis.setup_changes import flat_sheet
from groundstation.recording.info import NOTES
from groundstation.recording.reader import SessionFile, Tape
from groundstation.recording.tape import IndexEntry
from protocol.batch import Batch

SHOWN_KINDS = ("mark", "level", "clipped", "reboot", "driver", "check", "vehicle", "source")


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionSheet:
    """A recording's label."""

    file: str
    started: datetime | None
    """None for a raw capture."""
    duration_s: float
    ended_cleanly: bool | None
    source: str
    """What it was recorded from, as the recording says."""
    software_version: str
    notes: tuple[str, ...]
    setup: Mapping[str, object]
    """Set-up sheet; empty where there was none."""
    checks: Mapping[str, object]
    """Range checks it ran under, by vehicle."""
    events: tuple[IndexEntry, ...]
    ahead_s: float
    """Session clock less vehicle clock."""

    @property
    def flat_setup(self) -> dict[str, str]:
        """The set-up sheet without its nesting."""
        return flat_sheet(self.setup)

    @property
    def invented(self) -> bool:
        """Whether no real car was driven."""
        return self.source.startswith("simulated")

    def check_of(self, vehicle: str | None) -> Mapping[str, object] | None:
        """Return the range check of a vehicle, None where it had none."""
        found = self.checks.get(vehicle or "")
        return found if isinstance(found, Mapping) else None

    @property
    def check_words(self) -> str | None:
        """What was said of the range check when the session began."""
        return next((each.text for each in self.events if each.kind == "check"), None)


def sheet_of(path: Path, tape: Tape, batch: Batch, vehicle: int) -> SessionSheet:
    """Return a recording's label.

    Args:
        path: Of the recording.
        tape: The recording.
        batch: Its frames.
        vehicle: The one that is told of.
    """
    info = tape.info if isinstance(tape, SessionFile) else None
    facts: Mapping[str, object] = {} if info is None else info.facts
    notes = facts.get(NOTES)
    return SessionSheet(
        file=path.name,
        started=None if info is None else info.started,
        duration_s=tape.end_at_s if info is None else info.duration_s,
        ended_cleanly=None if info is None else info.ended_cleanly,
        source=str(facts.get("source") or "") if info else "raw capture",
        software_version="" if info is None else info.software_version,
        notes=tuple(str(each) for each in notes) if isinstance(notes, list) else (),
        setup=_mapping(facts.get("setup")),
        checks=_mapping(facts.get("range_checks")),
        events=tuple(each for each in tape.events() if each.kind in SHOWN_KINDS),
        ahead_s=_ahead_s(batch, vehicle),
    )


def _mapping(value: object) -> Mapping[str, object]:
    return value if isinstance(value, Mapping) else {}


def _ahead_s(batch: Batch, vehicle: int) -> float:
    """Return by how much the session clock is ahead of the car's, where the way was shortest."""
    ahead = [
        batch.times(kind.name, vehicle).at_s - batch.times(kind.name, vehicle).vehicle_s
        for kind in batch.table.kinds
    ]
    heard = [float(np.min(each)) for each in ahead if len(each)]
    return min(heard, default=0.0)
