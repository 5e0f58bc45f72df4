"""The list of sessions marks those that ended badly, and reads little for it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from groundstation.__main__ import main
from groundstation.analysis.incident_end import ended_badly
from groundstation.cli.session_ends import ended_badly_words
from groundstation.recording.reader import open_session
from tests.groundstation.report.tellings import telling_of
from tests.replay_data import FOLDER, NAMES


@pytest.mark.parametrize("name", NAMES)
def test_the_list_says_what_the_whole_recording_says(name: str) -> None:
    analysis = telling_of(name).analysis
    expected = ended_badly(analysis.record, [each.span for each in analysis.passes])
    info = open_session(FOLDER / f"{name}.session").info
    assert ended_badly_words(info, info.summary["peak_speed_mps"]) == expected


def test_a_car_that_was_never_fast_is_not_read(tmp_path: Path) -> None:
    info = open_session(FOLDER / "crash.session").info
    assert ended_badly_words(info, 3.0) is None
    assert ended_badly_words(info, None) is None


def test_bad_ends_are_marked_and_told_once(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for name in ("crash", "opposite_passes"):
        shutil.copy(FOLDER / f"{name}.session", tmp_path)
    assert main(["sessions", "--sessions", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    marked = [line for line in out.splitlines() if line.startswith("!")]
    assert len(marked) == 2
    assert "crash.session" in marked[0]
    assert marked[1].endswith("`groundstation report crash.session`")
    assert main(["sessions", "--sessions", str(tmp_path), "--json"]) == 0
    bad, good = json.loads(capsys.readouterr().out)["sessions"]
    assert bad["ended_badly"].startswith("the car rolled over")
    assert good["ended_badly"] is None


def test_nothing_is_said_where_all_ended_well(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    shutil.copy(FOLDER / "opposite_passes.session", tmp_path)
    main(["sessions", "--sessions", str(tmp_path)])
    assert "!" not in capsys.readouterr().out
