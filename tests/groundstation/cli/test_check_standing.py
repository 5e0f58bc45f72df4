"""The range check that a live session runs under: said on the screen, kept, and forecast from."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from groundstation.__main__ import main
from groundstation.cli import live
from groundstation.cli.check_standing import Standing, age_words, read_standing, words_now
from groundstation.cli.options import Choices
from groundstation.rangecheck.record import Verdict
from groundstation.rangecheck.staleness import setup_hash
from groundstation.recording.checks import checks_folder
from groundstation.recording.reader import list_sessions
from groundstation.vehicle.snapshot import Identity, Reading, Snapshot
from tests.autojump import SelfJumpingClock
from tests.groundstation.cli.checks import CAR, keep, made_check
from tests.replay_data import CHOICES

DAY = datetime(2031, 5, 4, 11, 20, tzinfo=UTC)
SHEET = {"track_width_mm": 212}


@pytest.mark.parametrize(
    ("age_h", "changes", "today", "words"),
    [
        (0.2, {}, {}, "check: 12 min old"),
        (2.0, {}, {}, "check: 2 h old"),
        (2.0, {"verdict": Verdict.HOLD}, {}, "check: 2 h old, HOLD"),
        (30.0, {}, {}, "check is stale: 30 h old"),
        (1.0, {"pack": "A"}, {"pack": "A"}, "check: 60 min old"),
        (1.0, {"pack": "A"}, {"pack": "B"}, "check is stale: pack was changed"),
        (
            1.0,
            {"setup_hash": setup_hash(SHEET)},
            {"setup_hash": setup_hash({"track_width_mm": 215})},
            "check is stale: set-up sheet was changed",
        ),
        (-1.0, {}, {}, "check is stale: dated later than now"),
    ],
)
def test_words(age_h: float, changes: dict[str, Any], today: dict[str, str], words: str) -> None:
    standing = Standing({CAR: made_check(checked=DAY, **changes)}, **today)
    assert standing.words(CAR, DAY + timedelta(hours=age_h)) == words
    assert len(words) <= 40


def test_who_has_no_check_has_none_today() -> None:
    standing = Standing({CAR: made_check(checked=DAY)})
    assert standing.words("another", DAY) == "no range check today"
    assert standing.words(None, DAY) == "no range check today"


@pytest.mark.parametrize(
    ("voltage_v", "words"),
    [
        (33.4, "check is stale: pack was changed or charged"),
        (32.0, "check: 60 min old"),
        (None, "check: 60 min old"),
    ],
)
def test_a_fuller_pack_is_not_the_one_that_was_checked(voltage_v: float | None, words: str) -> None:
    running = Snapshot(
        at_s=9.0,
        identity=Identity(1, CAR),
        channels={"pack_voltage_v": Reading(voltage_v, 9.0, 9.0, stale=False)},
    )
    checked = datetime.now(UTC) - timedelta(hours=1)
    standing = Standing({CAR: made_check(checked=checked, pack_voltage_v=32.3)})
    assert words_now(standing)(running) == words


def test_ages_are_short() -> None:
    assert [age_words(age_s) for age_s in (-5.0, 60.0, 5399.0, 7200.0, 3e5)] == [
        "0 min",
        "1 min",
        "90 min",
        "2 h",
        "3 days",
    ]


def choices(sessions: Path) -> Choices:
    return replace(CHOICES, sessions=sessions)


def test_the_newest_of_each_vehicle_is_known_and_damaged_files_are_passed_over(
    tmp_path: Path,
) -> None:
    keep(
        tmp_path,
        made_check(checked=DAY, level_at_1m_dbm=1.0),
        made_check(checked=DAY + timedelta(hours=1), level_at_1m_dbm=2.0),
        made_check(vehicle="another", checked=DAY, has_prior=False),
    )
    (checks_folder(tmp_path) / "20310504-130000-x.check.json").write_text("{", encoding="utf-8")
    standing = read_standing(choices(tmp_path), sheet=None, pack="")
    known = {each.vehicle: each for each in standing.known(DAY + timedelta(hours=2))}
    assert set(known) == {CAR, "another"}
    prior = known[CAR].prior
    assert prior is not None
    assert prior.level_at_1m_dbm == 2.0
    assert known["another"].prior is None


def watched(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *argv: str
) -> list[dict[str, Any]]:
    """Return the JSON lines of a live session of a simulated pass."""
    monkeypatch.setattr(live, "MonotonicClock", SelfJumpingClock)
    assert main(["live", "simulated:range_edge", "--json", "--for", "9", *argv]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def replayed(capsys: pytest.CaptureFixture[str], session: Path) -> list[dict[str, Any]]:
    assert main(["replay", str(session), "--json", "--speed", "max"]) == 0
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_live_session_forecasts_from_the_check_and_its_replay_gives_the_same(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    without, with_check = tmp_path / "without", tmp_path / "with"
    record = made_check(checked=datetime.now(UTC) - timedelta(hours=2), level_at_1m_dbm=20.0)
    keep(with_check, record)
    bare = watched(monkeypatch, capsys, "--sessions", str(without))
    lines = watched(monkeypatch, capsys, "--sessions", str(with_check))

    def said(told: list[dict[str, Any]]) -> list[str]:
        return [line["text"] for line in told if line["event"] == "check"]

    assert said(bare) == ["no range check today"]
    assert said(lines) == ["check: 2 h old"]
    forecasts = [
        [line["stop_margin_db"] for line in told if line["event"] == "state"]
        for told in (bare, lines)
    ]
    assert forecasts[0] != forecasts[1]
    for folder, told in ((without, bare), (with_check, lines)):
        (info,) = list_sessions(folder)
        again = replayed(capsys, info.path)
        assert again[:-1] == told[:-1]
        assert set(again[-1]) == set(told[-1])
    facts = list_sessions(with_check)[0].facts["range_checks"]
    assert isinstance(facts, dict)
    assert facts[CAR]["verdict"] == "GO"


def test_another_pack_makes_the_check_stale(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    keep(tmp_path, made_check(checked=datetime.now(UTC), pack="A"))
    lines = watched(monkeypatch, capsys, "--pack", "B", "--sessions", str(tmp_path))
    (said,) = [line["text"] for line in lines if line["event"] == "check"]
    assert said == "check is stale: pack was changed"
