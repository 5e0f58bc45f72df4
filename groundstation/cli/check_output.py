"""What a check came to, as readable lines and as one JSON object."""

from __future__ import annotations

import json
from pathlib import Path

from groundstation.rangecheck.finding import Outcome
from groundstation.rangecheck.record import CheckRecord
from groundstation.recording.checks import record_as_json
from groundstation.wording import printable

_WORDS = {
    Outcome.OK: "ok",
    Outcome.NOTE: "note",
    Outcome.MISSING: "MISSING",
    Outcome.HOLD: "HOLD",
}


def print_plain(record: CheckRecord, *, kept_as: Path | None, trouble: str) -> None:
    """Print verdict, reasons and where to look first."""
    for finding in record.findings:
        print(f"{_WORDS[finding.outcome]:>8}  {finding.rule}: {printable(finding.text)}")
        if finding.look_at:
            print(f"{'':>8}  -> {printable(finding.look_at)}")
    print(f"verdict: {record.verdict} (advice only; when in doubt, do not run)")
    print(f"check kept as {printable(str(kept_as))}" if kept_as else "check not kept")
    if trouble:
        print(f"TROUBLE: {printable(trouble)}")


def print_json(
    record: CheckRecord, *, kept_as: Path | None, session: str | None, trouble: str
) -> None:
    """Print one JSON object."""
    told = dict(record_as_json(record))
    told |= {
        "file": str(kept_as) if kept_as else None,
        "session": session,
        "trouble": trouble or None,
    }
    print(json.dumps(told, allow_nan=False))
