"""`report` as its user types it: the page, the summary, the object, the vehicle's file."""

from __future__ import annotations

import json
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from groundstation.analysis.braking import Learned
from groundstation.analysis.session import SessionAnalysis
from groundstation.cli.accepting import accept_braking, with_braking
from groundstation.cli.report_picture import ROWS, pictures
from groundstation.cli.report_text import body_lines, incident_lines
from groundstation.errors import UsageError
from groundstation.recording.reader import open_session
from protocol import Sender, Value
from tests.groundstation.cli.running import run
from tests.groundstation.report.tellings import HOSTILE, hostile_telling, telling_of
from tests.replay_data import FOLDER


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def shipped(name: str) -> str:
    return str(FOLDER / f"{name}.session")


def test_a_page_is_written_and_a_summary_printed(
    capsys: pytest.CaptureFixture[str], elsewhere: Path
) -> None:
    code, out, err = run(capsys, "report", shipped("opposite_passes"))
    assert (code, err) == (0, "")
    assert (elsewhere / "opposite_passes.html").read_text(encoding="utf-8").endswith("</html>\n")
    assert "invented car" in out
    assert "two directions: 153." in out
    assert "page: opposite_passes.html" in out
    assert "no safety device" in " ".join(out.split())


def test_nothing_is_written_over(capsys: pytest.CaptureFixture[str], elsewhere: Path) -> None:
    page = elsewhere / "mine.html"
    page.write_text("mine")
    code, _, err = run(capsys, "report", shipped("crash"), "--out", str(page))
    assert code == 2
    assert "is there already" in err
    assert page.read_text() == "mine"
    code, _, _ = run(capsys, "report", shipped("crash"), "--out", str(page), "--force")
    assert code == 0
    assert "Ended badly" in page.read_text(encoding="utf-8")


def test_a_folder_that_is_not_there_is_said_so(capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "report", shipped("crash"), "--out", "nowhere/page.html")
    assert code == 1
    assert "Cannot write nowhere/page.html" in err


def test_after_a_crash_the_summary_begins_with_it(capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "report", shipped("crash"))
    assert out.index("ENDED BADLY: the car rolled over") < out.index("peak km/h")
    assert "First the yaw, then the roll" in " ".join(out.split())
    assert "Where it is: last heard at" in out


def test_one_object_and_no_page(capsys: pytest.CaptureFixture[str], elsewhere: Path) -> None:
    code, out, _ = run(capsys, "report", shipped("crash"), "--json", "--trap=-150,-100")
    assert code == 0
    read = json.loads(out)
    assert read["incident"]["order"][0] == "yaw"
    assert read["passes"][0]["timed"]["distance_m"] == 50.0
    assert read["two_way"] is None
    assert list(elsewhere.iterdir()) == []


def test_a_steering_schedule_in_round_speeds(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("--wheelbase", "0.36", "--lock", "25", "--lateral-g", "0.8")
    code, out, _ = run(capsys, "report", shipped("crash"), "--json", "--units", "mph", *asked)
    assert code == 0
    first = json.loads(out)["steering"][0]
    assert first["speed_mps"] == pytest.approx(10 * 0.44704)


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["--trap", "5"], "--trap"),
        (["--trap", "5,5"], "--trap"),
        (["--trap", "nan,5"], "--trap"),
        (["--wheelbase", "0"], "--wheelbase"),
        (["--servo-lag", "-1"], "--servo-lag"),
        (["--lateral-g", "0.8"], "needs --wheelbase"),
        (["--json", "--out", "x.html"], "--json writes one object"),
        (["--accept-braking", "car"], "nothing to accept"),
        (["--vehicle-number", "77"], "vehicle 77 was not heard"),
    ],
)
def test_wrong_usage(capsys: pytest.CaptureFixture[str], argv: list[str], said: str) -> None:
    code, _, err = run(capsys, "report", shipped("crash"), *argv)
    assert code in (1, 2)
    assert said.lower() in err.lower()


def test_a_capture_has_a_report(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    capture = tmp_path / "drive.bin"
    capture.write_bytes(open_session(Path(shipped("range_edge"))).columns().data)
    code, out, _ = run(capsys, "report", str(capture))
    assert code == 0
    assert "no date" in out
    assert (tmp_path / "drive.html").exists()


def test_the_set_up_sheet_and_notes_are_in_the_page(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    copied = Path(shutil.copy(shipped("crash"), tmp_path / "copied.session"))
    session = open_session(copied)
    session.set_fact("setup", {"rear": {"toe_deg": 1.5}, "tyres": HOSTILE})
    session.add_note("wind from the left")
    run(capsys, "report", str(copied))
    text = (tmp_path / "copied.html").read_text(encoding="utf-8")
    assert "rear.toe_deg" in text
    assert "wind from the left" in text
    assert HOSTILE not in text


def test_nothing_from_outside_moves_the_cursor() -> None:
    for telling in (hostile_telling(), telling_of("crash")):
        lines = [*incident_lines(telling, 80), *body_lines(telling, 80)]
        assert all(line.isprintable() for line in lines)
        assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("width", [80, 100])
def test_the_pictures_are_as_wide_as_the_terminal(width: int) -> None:
    lines = pictures(telling_of("opposite_passes"), width=width)
    assert len(lines) == 2 * (ROWS + 1) + 1
    assert max(map(len, lines)) == width
    assert any("█" in line for line in lines)


LEARNED = Learned(decel_mps2=7.456, decel_sigma_mps2=0.412, stops=5, left_out=0)

VEHICLE = """\
# my car
source = "serial:/dev/ttyUSB0"  # the long cable

[stopping]
react_s = 0.4  # with sunglasses
decel_mps2 = 5.0

[link]
required_margin_db = 12
"""


def learned() -> SessionAnalysis:
    return replace(telling_of("opposite_passes").analysis, learned=LEARNED)


@pytest.fixture
def vehicle(tmp_path: Path) -> Path:
    path = tmp_path / "vehicles" / "car.toml"
    path.parent.mkdir()
    path.write_text(VEHICLE, encoding="utf-8")
    return path


def test_the_braking_goes_into_the_vehicles_file_and_the_rest_stays(
    vehicle: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    accept_braking(learned(), "car", tmp_path / "settings.toml", yes=True)
    text = vehicle.read_text(encoding="utf-8")
    read = tomllib.loads(text)
    assert read["stopping"] == {"react_s": 0.4, "decel_mps2": 7.46, "decel_sigma_mps2": 0.41}
    for line in VEHICLE.splitlines():
        if not line.startswith("decel"):
            assert line in text
    assert "until now 5 m/s²" in capsys.readouterr().out
    assert [each.name for each in vehicle.parent.iterdir()] == ["car.toml"]


def test_nobody_asked_is_nothing_written(vehicle: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="nobody to ask"):
        accept_braking(learned(), "car", tmp_path / "settings.toml", yes=False)
    assert vehicle.read_text(encoding="utf-8") == VEHICLE


def test_an_unknown_vehicle_is_named(vehicle: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="Known: car"):
        accept_braking(learned(), "cra", tmp_path / "settings.toml", yes=True)


def test_a_file_without_the_section_gets_it() -> None:
    text = with_braking('units = "mph"\n', decel_mps2=7.0, decel_sigma_mps2=0.5)
    assert tomllib.loads(text) == {
        "units": "mph",
        "stopping": {"decel_mps2": 7.0, "decel_sigma_mps2": 0.5},
    }


def test_a_vehicle_that_calls_itself_a_script_is_only_a_name(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    name = "<script>alert(1)"
    sender = Sender()
    frames = []
    for tick in range(600):
        clock_us = tick * 10_000
        speed_mps = min(tick / 10, 30.0) if tick < 450 else max(30.0 - (tick - 450) / 4, 0.0)
        if tick % 200 == 0:
            frames.append(sender.encode("ident", {"vehicle_name": name}, clock_us))
        values: dict[str, Value] = {"speed_mps": speed_mps, "throttle_percent": 50.0}
        frames.append(sender.encode("motion", values, clock_us))
    capture = tmp_path / "named.bin"
    capture.write_bytes(b"".join(frames))
    code, out, _ = run(capsys, "report", str(capture))
    assert code == 0
    assert out.startswith(name)
    text = (tmp_path / "named.html").read_text(encoding="utf-8")
    assert name not in text
    assert "<h1>&lt;script&gt;alert(1)</h1>" in text
    code, out, _ = run(capsys, "report", str(capture), "--json")
    assert json.loads(out)["vehicle"]["name"] == name
