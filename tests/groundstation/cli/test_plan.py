"""`groundstation plan` as its user types it."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from groundstation.cli.plan import ASSUMED, GROUND_NAMES
from groundstation.cli.plan_picture import picture
from groundstation.cli.plan_text import plan_lines
from groundstation.cli.plan_words import Told
from groundstation.planning.course import Course, Radio
from groundstation.planning.grounds import GROUNDS
from groundstation.planning.margins import Checked
from groundstation.planning.plan import Plan, make_plan
from groundstation.radio.budget import LinkBudget
from groundstation.radio.estimate import LinkPrior
from groundstation.rangecheck.record import Bound, CheckRecord, Verdict
from groundstation.recording.checks import checks_folder, save_check
from groundstation.units import SpeedUnit
from tests.groundstation.cli import running
from tests.groundstation.planning.examples import PRIOR

WORKED = (
    "--length=400",
    "--driver-aside=0",
    "--speed=0",
    "--transmitter-height=1.5",
    "--car-height=0.05",
    "--frequency=2400",
    "--power=20",
    "--transmitter-gain=2",
    "--car-gain=0",
    "--losses=3",
    "--threshold=-95",
    "--ground=soil",
)


def run(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    return running.run(capsys, "plan", *argv)


def figures(capsys: pytest.CaptureFixture[str], *argv: str) -> dict[str, object]:
    code, out, err = run(capsys, "--json", *argv)
    assert (code, err) == (0, "")
    assert out.count("\n") == 1
    found: dict[str, object] = json.loads(out)
    return found


@pytest.fixture
def vehicles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("GROUNDSTATION_SETTINGS", str(tmp_path / "settings.toml"))
    (tmp_path / "settings.toml").write_text("")
    folder = tmp_path / "vehicles"
    folder.mkdir()
    return folder


def test_worked_budget(capsys: pytest.CaptureFixture[str]) -> None:
    found = figures(capsys, *WORKED)
    places = {place["along_m"]: place for place in found["places"]}
    # Computed independently.
    for along_m, free_space_db, two_ray_db, plane_earth_db in (
        (100.0, 33.95, 114 - 97.34, 11.50),
        (200.0, 27.93, 114 - 109.11, -0.54),
        (400.0, 21.91, 114 - 121.02, -12.58),
    ):
        place = places[along_m]
        assert place["free_space_db"] == pytest.approx(free_space_db, abs=0.0051)
        assert place["two_ray_db"] == pytest.approx(two_ray_db, abs=0.0051)
        assert place["plane_earth_db"] == pytest.approx(plane_earth_db, abs=0.0051)
        assert place["checked_db"] is None
    assert found["enough"] is False
    assert found["judged_by"] == "two_ray"
    assert 145.0 < found["longest_course_m"] < 150.0
    assert [change["change"] for change in found["changes"]] == [
        "mid_course",
        "raised",
        "other_band",
    ]
    assert "no safety device" in found["caution"]
    # Only these were left to be assumed.
    assert found["assumed"] == ["decel", "driver_at", "polarisation", "react"]


def test_the_text_answers_first_and_fits_80_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    code, out, err = run(capsys, *WORKED)
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "\x1b" not in out
    assert out.startswith("Advice only, no safety device")
    assert "local law" in out.lower()
    assert "10 dB; -7.0 dB expected at the far end, 400 m from you." in " ".join(out.split())
    verdict = out.index("TOO LONG: 400 m do not keep the required 10 dB")
    assert verdict < out.index("longest course  148 m") < out.index("what a change gains")
    assert out.index("what a change gains") < out.index("33.9") < out.index("Told: course 400 m")
    assert "868 MHz instead" in out
    assert "Assumed" in out


def test_a_course_that_fits(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, *WORKED, "--length", "100", "--speed", "30")
    assert code == 0
    assert "FITS: 100 m keep the required 10 dB" in out
    assert "the far end, with " in out
    # Plane earth alone would leave less, and the text says who decides.
    _, out, _ = run(capsys, *WORKED, "--length", "130", "--speed", "0")
    assert "Were the ground a mirror, 6.9 dB" in " ".join(out.split())


def test_a_place_and_a_speed_that_leave_no_course(capsys: pytest.CaptureFixture[str]) -> None:
    found = figures(capsys, *WORKED, "--speed", "300")
    assert found["longest_course_m"] is None
    assert found["lift_at_m"] is None
    _, out, _ = run(capsys, *WORKED, "--speed", "300")
    assert "NO COURSE keeps the required 10 dB" in out
    _, out, _ = run(capsys, *WORKED, "--driver-at", "mid", "--length", "900")
    assert "no place" in out


def test_the_middle_and_places_before_the_start(capsys: pytest.CaptureFixture[str]) -> None:
    middle = figures(capsys, *WORKED, "--driver-at", "mid")
    assert middle["course"]["driver_at_m"] == 200.0
    assert [change["change"] for change in middle["changes"]] == ["raised", "other_band"]
    before = figures(capsys, *WORKED, "--driver-at=-20")
    assert before["places"][0]["distance_m"] == 20.0


def test_speed_is_in_the_chosen_unit(capsys: pytest.CaptureFixture[str]) -> None:
    for speed, unit in (("60", "mph"), ("26.8224", "m/s"), ("96.56064", "km/h")):
        found = figures(capsys, *WORKED, "--speed", speed, "--units", unit)
        assert found["course"]["speed_mps"] == pytest.approx(26.8224)


def test_braking_options_make_the_overrun(capsys: pytest.CaptureFixture[str]) -> None:
    options = ("--speed", "108", "--react", "0.5", "--decel", "7")
    found = figures(capsys, *WORKED, *options)
    # OpenStax, example 2.14: 79.3 m; 0.15 s until the brakes are 4.5 m more, and one stop in twenty
    # is longer than with 1.6449 times 0.6 / 7 of the 64.3 m on top.
    longer_m = 4.5 + 1.6449 * 0.6 / 7 * 64.3
    assert found["course"]["overrun_m"] == pytest.approx(79.3 + longer_m, abs=0.05)


def test_a_vehicles_file_says_threshold_margin_and_braking(
    vehicles: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (vehicles / "arrow.toml").write_text(
        "[link]\nthreshold_dbm = -104\nrequired_margin_db = 12\n"
        "[stopping]\nreact_s = 0.25\ndecel_mps2 = 8.5\n"
    )
    found = figures(capsys, "--vehicle", "arrow")
    assert found["vehicle"] == "arrow"
    assert found["radio"]["threshold_dbm"] == -104.0
    assert found["required_margin_db"] == 12.0
    assert (found["course"]["react_s"], found["course"]["decel_mps2"]) == (0.25, 8.5)
    assert not {"threshold", "react", "decel"} & set(found["assumed"])
    # An option goes before the file.
    found = figures(capsys, "--vehicle", "arrow", "--threshold", "-90", "--margin", "8")
    assert found["radio"]["threshold_dbm"] == -90.0
    assert found["required_margin_db"] == 8.0
    _, out, _ = run(capsys, "--vehicle", "arrow")
    assert "Told for arrow: " in out


def test_a_range_check_by_hand_decides(capsys: pytest.CaptureFixture[str]) -> None:
    checked = ("--level-at-1m=-8", "--exponent=3.8", "--checked-to=120")
    found = figures(capsys, *WORKED, *checked)
    assert found["judged_by"] == "checked_p05"
    place = found["places"][1]
    # -8 dBm less 76 dB, over -95 dBm.
    assert place["checked_db"] == pytest.approx(11.0)
    assert place["deciding_db"] == place["checked_p05_db"] < 11.0
    _, out, _ = run(capsys, *WORKED, *checked)
    assert "exponent 3.80, walked to 120 m" in " ".join(out.split())


def keep_check(
    sessions: Path, day: int, *, prior: LinkPrior | None, verdict: Verdict = Verdict.GO
) -> None:
    record = CheckRecord(
        checked=datetime(2026, 5, day, 9, 30, tzinfo=UTC),
        bound=Bound(vehicle_name="arrow"),
        verdict=verdict,
        findings=(),
        prior=prior,
        threshold_dbm=-101.0,
    )
    save_check(checks_folder(sessions), record)


def test_the_vehicles_newest_range_check_decides(
    vehicles: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (vehicles / "arrow.toml").write_text("[stopping]\ndecel_mps2 = 8.5\n")
    sessions = tmp_path / "sessions"
    where = ("--vehicle", "arrow", "--sessions", str(sessions))
    assert figures(capsys, *where)["range_check"] is None
    keep_check(sessions, 3, prior=replace(PRIOR, level_at_1m_dbm=-20.0))
    keep_check(sessions, 5, prior=PRIOR, verdict=Verdict.HOLD)
    # An abandoned walk has no law; the check before it is the newest that has.
    keep_check(sessions, 6, prior=None, verdict=Verdict.HOLD)
    found = figures(capsys, *where)
    assert found["judged_by"] == "checked_p05"
    assert found["range_check"]["level_at_1m_dbm"] == -8.0
    assert found["range_check"]["checked"] == "2026-05-05T09:30:00+00:00"
    assert found["range_check"]["verdict"] == "HOLD"
    # The threshold is the check's, where nobody else tells one.
    assert found["radio"]["threshold_dbm"] == -101.0
    assert "threshold" not in found["assumed"]
    assert figures(capsys, *where, "--threshold=-95")["radio"]["threshold_dbm"] == -95.0
    _, out, _ = run(capsys, *where)
    said = " ".join(out.split())
    assert "Judged by the range check of 2026-05-05 09:30 (HOLD): -8.0 dBm at 1 m" in said
    # What is typed goes before what is kept; a check alone makes a vehicle known.
    by_hand = figures(capsys, *where, "--level-at-1m=-30", "--exponent=4")
    assert by_hand["range_check"]["level_at_1m_dbm"] == -30.0
    assert by_hand["range_check"]["checked"] is None
    (vehicles / "arrow.toml").unlink()
    assert figures(capsys, *where)["judged_by"] == "checked_p05"


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["--transmitter-height=-1.5"], "transmitter's height is -1.5 m"),
        (["--transmitter-height=nan"], "transmitter's height is nan m"),
        (["--car-height=0"], "height of the car's antenna is 0 m"),
        (["--length=0"], "length of the course is 0 m"),
        (["--length=nan"], "length of the course is nan m"),
        (["--length=inf"], "length of the course is inf m"),
        (["--driver-at=nan"], "driver's place is nan m"),
        (["--driver-aside=-3"], "driver's distance aside is -3 m"),
        (["--speed=-50"], "speed"),
        (["--speed=nan"], "speed"),
        (["--decel=0"], "braking deceleration is 0 m/s2"),
        (["--react=-1"], "reaction time is -1 s"),
        (["--frequency=2.4"], "frequency is 2.4 MHz"),
        (["--power=900"], "transmit power is 900 dBm"),
        (["--threshold=95"], "threshold is 95 dBm"),
        (["--losses=-3"], "other losses is -3 dB"),
        (["--margin=nan"], "margin to be kept is nan dB"),
        (["--margin=-1"], "margin to be kept is -1 dB"),
        (["--exponent=3.5"], "--level-at-1m and --exponent together"),
        (["--checked-to=50"], "--level-at-1m and --exponent together"),
        (["--level-at-1m=-10", "--exponent=nan"], "exponent is nan"),
        (["--level-at-1m=-10", "--exponent=0"], "exponent is 0"),
        (["--vehicle=nobody"], "no file and no range check of a vehicle 'nobody'"),
    ],
)
def test_nonsense_is_one_plain_sentence_and_code_2(
    argv: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for more in ((), ("--json",)):
        code, out, err = run(capsys, *argv, *more)
        assert (code, out) == (2, "")
        assert err.startswith("groundstation: ")
        assert said in err
        assert err.count("\n") == 1


@pytest.mark.parametrize(
    "argv", [["--length=far"], ["--driver-at=middle"], ["--ground=ice"], ["--polarisation=up"]]
)
def test_what_is_no_number_or_no_name_is_wrong_usage(
    argv: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, *argv)
    assert (code, out) == (2, "")
    assert argv[0].split("=")[0] in err


def test_every_ground_can_be_named() -> None:
    assert tuple(GROUNDS) == GROUND_NAMES


plans = st.builds(
    lambda course, heights_m, frequency_hz, power_dbm, required_db, by_check: _plan(
        course, heights_m, frequency_hz, power_dbm, required_db, by_check=by_check
    ),
    st.builds(
        Course,
        length_m=st.floats(1.0, 5000.0),
        driver_at_m=st.one_of(st.none(), st.floats(-5000.0, 5000.0)),
        driver_aside_m=st.floats(0.0, 1000.0),
        speed_mps=st.floats(0.0, 200.0),
    ),
    st.tuples(st.floats(0.01, 20.0), st.floats(0.001, 5.0)),
    st.sampled_from([433.92e6, 868e6, 2.4e9, 5.8e9]),
    st.floats(-30.0, 50.0),
    st.floats(0.0, 60.0),
    st.booleans(),
)


def _plan(
    course: Course,
    heights_m: tuple[float, float],
    frequency_hz: float,
    power_dbm: float,
    required_db: float,
    *,
    by_check: bool,
) -> Plan:
    radio = Radio(
        budget=LinkBudget(transmit_power_dbm=power_dbm, threshold_dbm=-95.0),
        transmitter_height_m=heights_m[0],
        car_height_m=heights_m[1],
        frequency_hz=frequency_hz,
    )
    checked = Checked(PRIOR, radio) if by_check else None
    return make_plan(course, radio, required_margin_db=required_db, checked=checked)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(plans, st.sampled_from([80, 100]))
def test_any_plan_keeps_to_its_width(plan: Plan, width: int) -> None:
    lines = plan_lines(
        plan,
        Told(vehicle="arrow\x1b[2J", assumed=frozenset(ASSUMED)),
        SpeedUnit.KMH,
        width=width,
    )
    assert max(map(len, lines)) <= width
    assert all(line.isprintable() for line in lines)
    assert "nan" not in " ".join(lines)


def test_the_picture_tells_everything_apart_without_colour() -> None:
    course = Course(length_m=300.0, speed_mps=20.0)
    plan = _plan(course, (1.5, 0.05), 2.4e9, 20.0, 10.0, by_check=False)
    drawn = picture(plan, width=80, rows=10)
    assert {len(line) for line in drawn[:11]} == {80}
    whole = "\n".join(drawn)
    for mark in "◇△┼□─╌":
        assert mark in whole
    assert drawn[-1].strip() == "◇ you   △ lift here   ┼ far end   □ stop point"
    foot = drawn[10]
    lift_m = plan.reach.lift_at_m
    assert lift_m is not None
    cells = 72 / plan.course.stop_at_m
    assert foot.index("◇") == 8
    assert foot.index("△") == 8 + int(lift_m * cells)
    assert foot.index("┼") == 8 + int(300 * cells)
    assert foot.index("□") == 79
