"""`import` as its user types it: the guess shown, confirmed, recorded, read back like our own."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest

from groundstation.cli import importing
from groundstation.inbound import Inbound
from groundstation.recording.reader import open_session
from tests.groundstation.cli.running import run
from tests.groundstation.importing.foreign import drive, write_foreign


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    sessions = tmp_path / "sessions"
    monkeypatch.setenv("GROUNDSTATION_SESSIONS", str(sessions))
    return sessions


@pytest.fixture
def foreign(tmp_path: Path) -> Path:
    path = tmp_path / "foreign run.csv"
    write_foreign(path, drive(), units_row=True)
    return path


def session_in(folder: Path) -> Path:
    (path,) = folder.iterdir()
    return path


def test_without_a_terminal_the_guess_is_shown_and_not_taken(
    foreign: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "import", str(foreign))
    assert code == 2
    assert not folder.exists()
    assert "--yes" in err
    assert "--write-map" in err
    assert all(len(line) <= 80 for line in out.splitlines())
    rows = {line.split("  ")[0]: line for line in out.splitlines()}
    assert "ground_speed_mps" in rows["GPS Speed"]
    assert "km/h" in rows["GPS Speed"]
    assert "turned" in rows["AccZ"]
    assert "note: satellite columns are repeated" in out


def test_an_accepted_guess_becomes_a_session_like_our_own(
    foreign: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "import", str(foreign), "--yes", "--name", "Grey/..\\car")
    assert code == 0
    path = session_in(folder)
    assert path.name.endswith("_Grey-car.session")
    assert str(path) in out
    assert "rows that repeat a fix" in out

    info = open_session(path).info
    assert info.ended_cleanly
    assert info.vehicle_name == "Grey/..\\car"
    assert info.facts["notes"] == ["imported from foreign run.csv, csv"]
    said = info.facts["imported"]
    assert isinstance(said, dict)
    assert said["file"] == "foreign run.csv"
    assert said["map"]["time"] == {
        "column": "Time", "unit": "ms", "rate_hz": None, "since_1970": False,
    }  # fmt: skip
    assert "z down" in said["guessed"]["columns"]["AccZ"]
    assert said["started_from"] == "file date"

    code, out, _ = run(capsys, "sessions", "--json")
    assert code == 0
    (listed,) = json.loads(out)["sessions"]
    assert listed["passes"] == 1
    assert listed["peak_speed_mps"] == pytest.approx(25.0, abs=0.1)

    code, out, _ = run(capsys, "replay", "last", "--json", "--speed", "max")
    assert code == 0
    events = [json.loads(line) for line in out.splitlines()]
    (ended,) = [event for event in events if event["event"] == "pass"]
    assert ended["peak_speed_mps"] == pytest.approx(25.0, abs=0.1)

    code, _, _ = run(capsys, "export", "last", "--out", str(folder.parent / "out"))
    assert code == 0
    own = pd.read_csv(next((folder.parent / "out").glob("*.own_1.csv")))
    assert own["motor_rpm"].max() == pytest.approx(25 * 531, abs=60)


def test_our_own_export_comes_back_with_the_written_map(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    edge, there, back = tmp_path / "edge.session", tmp_path / "there", tmp_path / "back"
    scenario = ("--scenario", "range_edge", "--seed", "7", "--for", "20")
    assert run(capsys, "simulate", *scenario, "--out", str(edge))[0] == 0
    assert run(capsys, "export", str(edge), "--out", str(there))[0] == 0
    for kind in ("motion", "fix", "radio", "power"):
        exported, column_map = there / f"edge.{kind}.csv", tmp_path / f"{kind}.toml"
        assert run(capsys, "import", str(exported), "--write-map", str(column_map))[0] == 0
        assert not folder.exists()
        assert run(capsys, "import", str(exported), "--map", str(column_map))[0] == 0
        session = session_in(folder)
        assert run(capsys, "export", str(session), "--out", str(back))[0] == 0
        again = pd.read_csv(back / f"{session.stem}.{kind}.csv")
        once = pd.read_csv(exported)
        measured = [name for name in once.columns if name not in ("at_s", "vehicle_s", "sequence")]
        assert list(again.columns) == list(once.columns)
        # Every value lies on a step of the wire already, so nothing may move.
        pd.testing.assert_frame_equal(again[measured], once[measured], check_dtype=False)
        since_first = once["vehicle_s"] - once["vehicle_s"].iloc[0]
        pd.testing.assert_series_equal(
            again["vehicle_s"], since_first, check_exact=False, atol=1.1e-6, rtol=0
        )
        session.unlink()
        folder.rmdir()


def test_a_map_is_never_written_over_another_file(
    foreign: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    there = tmp_path / "map.toml"
    there.write_text("mine")
    code, _, err = run(capsys, "import", str(foreign), "--write-map", str(there))
    assert code == 2
    assert "is there already" in err
    assert there.read_text() == "mine"


def test_two_imports_of_one_file_are_two_sessions(
    foreign: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for _ in range(2):
        assert run(capsys, "import", str(foreign), "--yes")[0] == 0
    assert len(list(folder.glob("*.session"))) == 2
    assert len(list(folder.iterdir())) == 2


def test_an_interrupt_leaves_nothing(
    foreign: Path,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    whole = importing.inbound_of

    def interrupted(*arguments: object, **named: object) -> Iterator[Inbound]:
        for number, inbound in enumerate(whole(*arguments, **named)):  # type: ignore[arg-type]
            if number == 1500:
                raise KeyboardInterrupt
            yield inbound

    monkeypatch.setattr(importing, "inbound_of", interrupted)
    code, out, err = run(capsys, "import", str(foreign), "--yes")
    assert code == 1
    assert "nothing was imported" in err
    assert ".session" not in out
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(("answer", "code"), [("y", 0), ("n", 2)])
def test_on_a_terminal_it_asks(foreign: Path, folder: Path, answer: str, code: int) -> None:
    ours, theirs = pty.openpty()
    try:
        os.write(ours, f"{answer}\n".encode())
        done = subprocess.run(
            [sys.executable, "-m", "groundstation", "import", str(foreign)],
            stdin=theirs,
            stdout=theirs,
            stderr=subprocess.PIPE,
            timeout=50,
            check=False,
        )
        said = os.read(ours, 100_000).decode()
    finally:
        os.close(ours)
        os.close(theirs)
    assert done.returncode == code, done.stderr
    assert "Import it so?" in said
    assert folder.exists() == (code == 0)


def test_nmea_and_gpx_need_no_map(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "log.txt"
    log.write_text(
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n"
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n"
    )
    assert run(capsys, "import", str(log), "--map", "x.toml")[0] == 2
    code, out, _ = run(capsys, "import", str(log))
    assert code == 0
    assert "1 frames" not in out.splitlines()[0].split("  ")[0]
    assert session_in(folder).name.startswith("1994")
    started = open_session(session_in(folder)).info.started
    assert started is not None
    assert started.isoformat().endswith("12:35:19+00:00")
    track = tmp_path / "back"
    assert run(capsys, "export", "last", "--format", "gpx", "--out", str(track))[0] == 0
    (exported,) = track.iterdir()
    session_in(folder).unlink()
    assert run(capsys, "import", str(exported))[0] == 0
    with_marks = open_session(session_in(folder))
    assert with_marks.info.started == started


@pytest.mark.parametrize(
    ("argv", "content", "code", "said"),
    [
        (["--yes"], "hello", 1, "no table"),
        (["--yes"], "a,b\n" + "1,2\n" * 40, 2, "--rate"),
        (["--rate", "-1"], "x", 2, "--rate"),
        (["--yes"], "<gpx><!DOCTYPE", 1, "XML"),
        (["--map", "none.toml"], "time,speed\n" + "1,2\n" * 40, 2, "none.toml"),
    ],
)
def test_what_cannot_be_imported_is_one_plain_sentence(
    argv: list[str],
    content: str,
    code: int,
    said: str,
    tmp_path: Path,
    folder: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path = tmp_path / "log"
    path.write_text(content)
    got, _, err = run(capsys, "import", str(path), *argv)
    assert got == code
    assert said in err
    assert not folder.exists()
