"""What is known about a session beside its bytes: the `meta` table, as JSON, and its reading."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from groundstation.recording.rows import text_of
from groundstation.wording import printable

FACT_PREFIX = "fact."
"""Before a caller's own keys, so that they meet none of ours."""

VEHICLE_NAME = "vehicle_name"
NOTES = "notes"
"""Facts that this package itself reads: text, and a list of texts."""


@dataclass(frozen=True, slots=True)
class SessionInfo:
    """What a list of sessions shows of one."""

    path: Path
    started: datetime | None = None
    """Time of day, with its offset; None where the file cannot be read."""
    vehicle_name: str | None = None
    """Free of control characters."""
    duration_s: float = 0.0
    end_at_s: float = 0.0
    """On the session clock."""
    ended_cleanly: bool = False
    """False while it is being recorded, and for ever after a kill."""
    summary: Mapping[str, object] = field(default_factory=dict)
    """Empty where the session did not end cleanly."""
    facts: Mapping[str, object] = field(default_factory=dict)
    """Set-up sheet, notes and whatever else was said about the session, as it was said."""
    software_version: str = ""
    """That recorded it."""
    table_text: str = ""
    """The frame table it was written with, TOML."""
    problem: str = ""
    """Why the file cannot be read, in plain words; empty where it can."""


def as_json(value: object) -> str:
    """Return a value as JSON; a number that is not known (NaN) or not finite becomes null.

    Raises:
        TypeError: JSON cannot hold it.
    """
    plain = json.loads(json.dumps(value), parse_constant=lambda _: None)
    return json.dumps(plain, ensure_ascii=True)


def read_info(
    path: Path, meta: Mapping[str, str], *, first_at_s: float, last_at_s: float
) -> SessionInfo:
    """Return what `meta` says.

    Args:
        path: Of the file.
        meta: The rows of the table.
        first_at_s: Arrival of the first event.
        last_at_s: Arrival of the last; a session that was killed ends there.

    Raises:
        ValueError, TypeError, KeyError: The table is damaged.
    """
    known = {key: json.loads(value) for key, value in meta.items()}
    facts = {
        key.removeprefix(FACT_PREFIX): value
        for key, value in known.items()
        if key.startswith(FACT_PREFIX)
    }
    vehicle_name = facts.get(VEHICLE_NAME)
    end_at_s = max(float(known.get("end_at_s") or 0.0), last_at_s)
    return SessionInfo(
        path=path,
        started=datetime.fromisoformat(known["started"]),
        vehicle_name=printable(vehicle_name) if isinstance(vehicle_name, str) else None,
        duration_s=max(end_at_s - first_at_s, 0.0),
        end_at_s=end_at_s,
        ended_cleanly=known["ended_cleanly"] is True,
        summary=dict(known.get("summary") or {}),
        facts=facts,
        software_version=printable(text_of(known["software_version"])),
        table_text=text_of(known["table"]),
    )
