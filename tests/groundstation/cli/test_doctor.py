"""`doctor` tells what it looked at, and fails where something is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from groundstation.__main__ import main

SUBJECTS = ["terminal", "serial", "bluetooth", "sound", "settings", "sessions", "clock"]


def test_every_matter_is_looked_at(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["doctor", "--json", "--sessions", str(tmp_path)])
    found = json.loads(capsys.readouterr().out)
    assert [each["subject"] for each in found["findings"]] == SUBJECTS


def test_what_is_in_the_way_fails_the_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("bauds = 1\n", encoding="utf-8")
    assert main(["doctor", "--settings", str(settings), "--sessions", str(tmp_path)]) == 1
    shown = capsys.readouterr().out
    assert "✗ bad   settings" in shown
    assert "bauds" in shown
