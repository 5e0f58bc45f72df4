"""Range checks for tests: led by the command itself, in no time, and written without a car."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from groundstation.__main__ import main
from groundstation.cli import check
from groundstation.radio.estimate import LinkPrior
from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Bound, CheckRecord, Hold, Verdict
from groundstation.recording.checks import checks_folder, save_check
from tests.autojump import SelfJumpingClock

CAR = "invented car"
"""Of the simulated check."""

WHOLE = ("--marks", "10,20,40", "--course-length", "60", "--top-speed", "60")
"""Options with which the sound car gets a GO."""


def run_check(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *argv: str
) -> tuple[int, str, str]:
    """Return exit code, standard output and standard error of `check`, run in no time."""
    monkeypatch.setattr(check, "MonotonicClock", SelfJumpingClock)
    capsys.readouterr()
    code = main(["check", *argv])
    out, err = capsys.readouterr()
    return code, out, err


def run_json(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *argv: str
) -> tuple[int, dict[str, Any]]:
    """Return exit code and the one JSON object."""
    code, out, err = run_check(monkeypatch, capsys, *argv, "--json")
    assert err == ""
    assert out.count("\n") == 1
    return code, json.loads(out)


def findings(told: dict[str, Any], rule: Rule) -> list[dict[str, Any]]:
    """Return the findings of one rule."""
    return [each for each in told["findings"] if each["rule"] == rule]


def made_check(
    *,
    vehicle: str = CAR,
    checked: datetime = datetime(2031, 5, 4, 11, 20, tzinfo=UTC),
    level_at_1m_dbm: float = 0.0,
    verdict: Verdict = Verdict.GO,
    pack: str = "",
    setup_hash: str = "",
    pack_voltage_v: float | None = None,
    has_prior: bool = True,
) -> CheckRecord:
    """Return a check whose level falls with exponent 4 from a level at 1 m."""
    prior = LinkPrior(
        level_at_1m_dbm=level_at_1m_dbm,
        exponent=4.0,
        level_variance_db2=36.0,
        exponent_variance=0.16,
        covariance_db=2.3,
        reach_m=80.0,
    )
    marks = enumerate((10.0, 20.0, 40.0, 80.0))
    holds = tuple(
        Hold(
            mark=mark,
            distance_m=distance_m,
            heading_deg=heading_deg,
            level_dbm=-40.0 - 12.0 * mark,
            spread_db=1.0,
            reports=100,
            missing=0,
            received_percent=100.0,
        )
        for mark, distance_m in marks
        for heading_deg in (0, 90, 180, 270)
    )
    reason = Finding(rule=Rule.LEVEL, outcome=Outcome.HOLD, text="level 9 dB under the last check")
    return CheckRecord(
        checked=checked,
        bound=Bound(
            vehicle_name=vehicle, pack=pack, setup_hash=setup_hash, pack_voltage_v=pack_voltage_v
        ),
        verdict=verdict,
        findings=() if verdict is Verdict.GO else (reason,),
        holds=holds,
        prior=prior if has_prior else None,
    )


def keep(sessions: Path, *records: CheckRecord) -> None:
    """Store checks beside the sessions of a folder."""
    for record in records:
        save_check(checks_folder(sessions), record)
