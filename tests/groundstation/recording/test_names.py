"""Names of recordings: unique, sortable, safe."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.recording import names
from tests.groundstation.recording.examples import STARTED, STEM


def test_a_session_is_named_after_the_moment_it_began() -> None:
    assert names.started_text(STARTED) == STEM


@pytest.mark.parametrize(
    ("vehicle_name", "text"),
    [
        ("Needle 3", "Needle-3"),
        ("under_score-dash", "under_score-dash"),
        ("../../etc", "etc"),
        ("..", "vehicle"),
        ("", "vehicle"),
        ("   ", "vehicle"),
        ("CON", "CON-vehicle"),
        ("com1", "com1-vehicle"),
        ("LPT\u00b9", "LPT1-vehicle"),
        ("nul.txt", "nul-txt"),
        ("a\x00b\x1b[31mc\n", "a-b-31mc"),
        ("a\\b/c:d", "a-b-c-d"),
        ("<script>alert(1)</script>", "script-alert-1-script"),
        ("\U0001f3ce\ufe0f", "vehicle"),
        ("Fl\u00e8che \u00dcber", "Fleche-Uber"),
        ("\u202egnp.exe", "gnp-exe"),
        ("x" * 1000, "x" * 40),
        ("x" * 39 + "..y", "x" * 39),
    ],
)
def test_a_hostile_name_becomes_harmless(vehicle_name: str, text: str) -> None:
    assert names.vehicle_text(vehicle_name) == text


@given(st.text(st.characters(exclude_categories=[]), max_size=200))
def test_any_name_becomes_a_part_of_a_file_name(vehicle_name: str) -> None:
    text = names.vehicle_text(vehicle_name)
    assert re.fullmatch(r"[A-Za-z0-9_-]{1,60}", text)
    assert not re.fullmatch(r"con|prn|aux|nul|(com|lpt)[0-9]", text, re.IGNORECASE)


def test_a_name_that_is_taken_is_numbered(tmp_path: Path) -> None:
    claimed = [names.claim(tmp_path, STEM).name for _ in range(3)]
    assert claimed == [f"{STEM}.session", f"{STEM}-2.session", f"{STEM}-3.session"]


def test_a_leftover_of_a_deleted_session_takes_its_name_too(tmp_path: Path) -> None:
    (tmp_path / f"{STEM}.session-wal").write_bytes(b"frames of another session")
    assert names.claim(tmp_path, STEM).name == f"{STEM}-2.session"


def test_a_rename_replaces_nothing(tmp_path: Path) -> None:
    (tmp_path / "new.session").write_text("somebody else's")
    old = tmp_path / "old.session"
    old.write_text("ours")
    renamed = names.rename(old, "new")
    assert renamed.name == "new-2.session"
    assert renamed.read_text() == "ours"
    assert (tmp_path / "new.session").read_text() == "somebody else's"
    assert not old.exists()


def test_no_file_is_renamed_away_from_its_write_ahead_log(tmp_path: Path) -> None:
    old = tmp_path / "old.session"
    old.write_text("ours")
    (tmp_path / "old.session-wal").write_text("ours too")
    assert names.rename(old, "new") == old
    assert sorted(path.name for path in tmp_path.iterdir()) == ["old.session", "old.session-wal"]
