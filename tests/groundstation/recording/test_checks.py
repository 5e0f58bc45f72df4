"""Range checks kept as files."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.errors import SessionFileError
from groundstation.rangecheck.record import Bound
from groundstation.recording.checks import (
    SUFFIX,
    checks_folder,
    earlier_checks,
    list_checks,
    load_check,
    record_as_json,
    save_check,
)
from tests.groundstation.rangecheck.rig import Rig, made_holds, made_record

RECORD = made_record(made_holds())


def test_a_whole_check_comes_back_as_it_was(tmp_path: Path) -> None:
    record = Rig().whole((10.0, 20.0, 40.0))
    path = save_check(tmp_path / "checks", record)
    assert path.name == f"20310504-093000-invented{SUFFIX}"
    assert load_check(path) == record
    assert json.loads(json.dumps(record_as_json(record)))["verdict"] == record.verdict


def test_no_two_checks_share_a_file_unless_one_replaces_the_other(tmp_path: Path) -> None:
    first, second = save_check(tmp_path, RECORD), save_check(tmp_path, RECORD)
    assert first != second
    changed = replace(RECORD, attenuation_db=12.0)
    assert save_check(tmp_path, changed, replaces=second) == second
    assert load_check(second) == changed
    assert load_check(first) == RECORD
    assert len(list(tmp_path.iterdir())) == 2


def test_a_list_is_newest_first_and_by_vehicle(tmp_path: Path) -> None:
    for day, name in enumerate(("a", "b", "a")):
        checked = RECORD.checked + timedelta(days=day)
        save_check(tmp_path, replace(RECORD, checked=checked, bound=Bound(vehicle_name=name)))
    days = [stored.record.checked.day for stored in list_checks(tmp_path) if stored.record]
    assert days == [6, 5, 4]
    assert [record.checked.day for record in earlier_checks(tmp_path, "a")] == [4, 6]
    (newest,) = earlier_checks(tmp_path, "b")
    assert newest.checked.day == 5
    assert earlier_checks(tmp_path, "c") == []
    assert list_checks(checks_folder(tmp_path)) == []


@pytest.mark.parametrize("name", ["../../etc/x", "a/b", "", "con", "\x1b[31m\u202e", "é" * 300])
def test_a_hostile_name_stays_in_its_folder(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "checks"
    path = save_check(folder, replace(RECORD, bound=Bound(vehicle_name=name)))
    assert path.parent == folder
    assert len(path.name) < 100
    record = load_check(path)
    assert record.bound.vehicle_name.isprintable()


def _changed(**changes: Any) -> bytes:
    return json.dumps({**record_as_json(RECORD), **changes}).encode()


def _with_hold(**changes: Any) -> bytes:
    plain: Any = record_as_json(RECORD)
    plain["holds"][0].update(changes)
    return json.dumps(plain).encode()


def _with_prior(**changes: Any) -> bytes:
    prior = {
        "level_at_1m_dbm": -5.0,
        "exponent": 3.5,
        "level_variance_db2": 4.0,
        "exponent_variance": 0.1,
        "covariance_db": 0.0,
        "reach_m": 80.0,
    }
    return _changed(prior={**prior, **changes})


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"null",
        b"[]",
        b"{}",
        b"\xff\xfe\x00",
        b"[" * 100_000,
        b'{"version":1}',
        b'{"version":1,"holds":' + b"[" * 900 + b"]" * 900 + b"}",
        b" " * (2 << 20),
        _changed(version=2),
        _changed(verdict="MAYBE"),
        _changed(checked="2031-05-04T09:30:00"),
        _changed(checked="yesterday"),
        _changed(findings=[{"rule": "level"}]),
        _changed(holds=[record_as_json(RECORD)["holds"][0]] * 3000),  # type: ignore[index]
        _with_hold(distance_m=0.0),
        _with_hold(distance_m=-1.0),
        _with_hold(distance_m=1e300),
        _with_hold(level_dbm=1e6),
        _with_hold(level_dbm="strong"),
        _with_hold(heading_deg=45),
        _with_prior(level_variance_db2=-1.0),
        _with_prior(covariance_db=50.0),
        _with_prior(exponent=1e30),
    ],
)
def test_what_is_no_check_is_refused_in_plain_words(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / f"x{SUFFIX}"
    path.write_bytes(data)
    with pytest.raises(SessionFileError):
        load_check(path)
    (stored,) = list_checks(tmp_path)
    assert stored.record is None
    assert stored.problem.isprintable()
    assert earlier_checks(tmp_path, "invented") == []


def test_texts_of_a_file_cannot_move_a_cursor(tmp_path: Path) -> None:
    path = tmp_path / f"x{SUFFIX}"
    finding = {"rule": "level", "outcome": "ok", "text": "\x1b[2J", "look_at": "\u202e"}
    path.write_bytes(_changed(findings=[finding]))
    (found,) = load_check(path).findings
    assert found.text.isprintable()
    assert found.look_at.isprintable()


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_damaged_byte_never_raises_but_as_it_should(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    text = bytearray(_changed())
    text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.mktemp("checks") / f"x{SUFFIX}"
    path.write_bytes(bytes(text))
    try:
        record = load_check(path)
    except SessionFileError:
        return
    assert record.checked.tzinfo is not None


def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(SessionFileError, match="annot keep the range check"):
        save_check(blocked, RECORD)


def test_nothing_is_left_of_a_write_that_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = save_check(tmp_path, RECORD)

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(SessionFileError, match="No space left"):
        save_check(tmp_path, RECORD)
    with pytest.raises(SessionFileError, match="No space left"):
        save_check(tmp_path, replace(RECORD, attenuation_db=3.0), replaces=kept)
    monkeypatch.undo()
    assert [path.name for path in tmp_path.iterdir()] == [kept.name]
    assert load_check(kept) == RECORD


def test_a_date_before_any_clock_is_listed(tmp_path: Path) -> None:
    save_check(tmp_path, replace(RECORD, checked=datetime(1, 1, 1, tzinfo=UTC)))
    assert len(list_checks(tmp_path)) == 1
