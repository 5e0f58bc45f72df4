"""The list and the plot of a vehicle's checks."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from groundstation.__main__ import main
from groundstation.cli.check_history import equal_distance_m, level_at
from groundstation.rangecheck.record import Verdict
from tests.groundstation.cli.checks import CAR, keep, made_check

DAY = datetime(2031, 5, 4, 11, 20, tzinfo=UTC)


def test_a_level_at_a_distance_with_its_spread() -> None:
    prior = made_check().prior
    assert prior is not None
    level_dbm, sigma_db = level_at(prior, 100.0)
    assert level_dbm == pytest.approx(-80.0)
    # 36 + 20^2 * 0.16 - 2 * 20 * 2.3 = 8
    assert sigma_db == pytest.approx(8.0**0.5)


def test_the_equal_distance_lies_where_all_measured() -> None:
    assert equal_distance_m([made_check(), made_check()]) == pytest.approx(800.0**0.5)
    assert equal_distance_m([]) is None
    assert equal_distance_m([made_check(has_prior=False)]) is None


def history(capsys: pytest.CaptureFixture[str], folder: Path, *argv: str) -> str:
    assert main(["check", "--history", CAR, "--sessions", str(folder), *argv]) == 0
    return capsys.readouterr().out


def test_oldest_first_each_on_one_scale(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    keep(
        tmp_path,
        made_check(checked=DAY + timedelta(days=2), level_at_1m_dbm=-9.0, verdict=Verdict.HOLD),
        made_check(checked=DAY),
        made_check(checked=DAY + timedelta(days=1), level_at_1m_dbm=1.0),
        made_check(vehicle="another"),
        made_check(checked=DAY + timedelta(days=3), has_prior=False),
    )
    rows = history(capsys, tmp_path).splitlines()
    assert "28 m" in rows[0]
    assert [row[:16] for row in rows[2:5]] == [
        "2031-05-04 11:20",
        "2031-05-05 11:20",
        "2031-05-06 11:20",
    ]
    assert rows[2].index("●") < rows[3].index("●")
    assert rows[4].index("✗") < rows[2].index("●")
    assert "level 9 dB under the last check" in rows[5]
    assert "--" in rows[6]
    assert all(len(row) <= 80 for row in rows)


def test_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keep(tmp_path, made_check(pack="A"), made_check(verdict=Verdict.HOLD, has_prior=False))
    told = json.loads(history(capsys, tmp_path, "--json"))
    assert told["vehicle"] == CAR
    assert told["distance_m"] == pytest.approx(28.28)
    assert {each["verdict"] for each in told["checks"]} == {"GO", "HOLD"}
    assert {each["level_dbm"] for each in told["checks"]} == {-58.06, None}


def test_a_vehicle_without_checks_is_told_who_has_some(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep(tmp_path, made_check())
    assert main(["check", "--history", "nobody", "--sessions", str(tmp_path)]) == 2
    assert CAR in capsys.readouterr().err
