"""Marks before printed lines, and long lines on a terminal."""

from __future__ import annotations

import io

import pytest

from groundstation.cli.marks import BAD, GOOD, LOOK, NONE, marked


class Narrow(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        return True


def test_an_output_that_cannot_carry_a_mark_gets_another(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    lines = [marked(sign, "", "said") for sign in (GOOD, LOOK, BAD, NONE)]
    assert [line[0] for line in lines] == ["+", "!", "x", "o"]


def test_on_a_terminal_a_long_line_goes_on_under_its_text(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", Narrow())
    monkeypatch.setenv("COLUMNS", "30")
    rows = marked(LOOK, "look  sound  ", "the bell rings, there is no sound device").splitlines()
    assert len(rows) > 1
    assert all(len(row) <= 30 for row in rows)
    assert all(row.startswith(" " * len("! look  sound  ")) for row in rows[1:])


def test_elsewhere_a_line_stays_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdout", io.StringIO())
    monkeypatch.setenv("COLUMNS", "30")
    assert "\n" not in marked(LOOK, "", "long " * 40)
