"""`check` as its user types it: led by marks, a script or lines; cars that hold or go."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from groundstation.cli.check_words import VOCABULARY
from groundstation.rangecheck.finding import Rule
from groundstation.recording.checks import list_checks
from groundstation.recording.reader import list_sessions, open_session
from tests.groundstation.cli.checks import (
    CAR,
    WHOLE,
    findings,
    keep,
    made_check,
    run_check,
    run_json,
)

Patch = pytest.MonkeyPatch
Capture = pytest.CaptureFixture[str]


@pytest.fixture
def places(tmp_path: Path) -> tuple[str, str]:
    return ("--sessions", str(tmp_path / "sessions"))


def held(told: dict[str, object]) -> set[str]:
    rules = told["findings"]
    assert isinstance(rules, list)
    return {each["rule"] for each in rules if each["outcome"] in ("hold", "missing")}


def test_a_sound_car_goes_and_a_disturbed_one_is_held_for_its_level(
    monkeypatch: Patch, capsys: Capture, places: tuple[str, str], tmp_path: Path
) -> None:
    bound = ("--pack", "A", "--place", "the pier", *places)
    code, told = run_json(monkeypatch, capsys, "simulated:range_check?seed=1", *WHOLE, *bound)
    assert (code, told["verdict"]) == (0, "GO")
    assert told["bound"]["vehicle_name"] == CAR
    assert (told["bound"]["pack"], told["bound"]["place"]) == ("A", "the pier")
    assert len(told["holds"]) == 12
    assert told["file"].endswith(".check.json")

    other = "simulated:range_check_disturbed?seed=2"
    code, told = run_json(monkeypatch, capsys, other, *WHOLE, *bound)
    assert (code, told["verdict"]) == (1, "HOLD")
    (level,) = findings(told, Rule.LEVEL)
    assert level["outcome"] == "hold"
    assert level["figures"]["level_shift_db"] == pytest.approx(-8.0, abs=2.5)
    assert "antennas" in level["look_at"]

    sessions = tmp_path / "sessions"
    stored = list_checks(sessions / "checks", CAR)
    assert [each.record.verdict for each in stored if each.record] == ["HOLD", "GO"]
    # Its own session is recorded like any other, and says what the check came to.
    infos = list_sessions(sessions)
    assert len(infos) == 2
    fact = infos[0].facts["check"]
    assert isinstance(fact, dict)
    assert fact["verdict"] == "GO"
    assert infos[0].ended_cleanly

    code, out, _ = run_check(monkeypatch, capsys, "--history", CAR, *places)
    assert code == 0
    rows = out.splitlines()
    assert "●" in rows[2]
    assert "✗" in rows[3]
    assert rows[3].index("✗") < rows[2].index("●")


@pytest.mark.parametrize(
    ("scenario", "said"),
    [
        ("range_check_holds_throttle", "keeps throttle in failsafe: +10 %"),
        ("range_check_no_failsafe", "never reports failsafe"),
        ("range_check_recovers_late", "recovers late: 11.9 s"),
    ],
)
def test_a_failsafe_that_is_not_one_is_held_with_its_own_reason(
    scenario: str, said: str, monkeypatch: Patch, capsys: Capture, places: tuple[str, str]
) -> None:
    source = f"simulated:{scenario}"
    code, told = run_json(monkeypatch, capsys, source, "--for", "30", *places)
    assert code == 1
    texts = [each["text"] for each in findings(told, Rule.FAILSAFE) if each["outcome"] == "hold"]
    assert len(texts) == 1
    assert said in texts[0]


def test_a_proven_failsafe_is_no_reason(
    monkeypatch: Patch, capsys: Capture, places: tuple[str, str]
) -> None:
    code, told = run_json(
        monkeypatch, capsys, "simulated:range_check", "--for", "20", "--no-record", *places
    )
    assert code == 1
    assert Rule.FAILSAFE not in held(told)
    # What was not measured holds, and is kept all the same.
    assert Rule.SAMPLES in held(told)
    assert told["session"] is None
    assert Path(told["file"]).exists()


SCRIPT = """
[[say]]
at_s = 9.0
what = "off"
[[say]]
after_s = 3.0
what = "on"
[[say]]
at_s = 22.0
what = "mark 10"
[[say]]
at_s = 35.0
what = "verdict"
"""


def test_a_script_leads_to_the_same_check_every_time(
    monkeypatch: Patch, capsys: Capture, tmp_path: Path
) -> None:
    script = tmp_path / "check.toml"
    script.write_text(SCRIPT, encoding="utf-8")
    runs = []
    for folder in ("sessions", "others"):
        places = ("--sessions", str(tmp_path / folder))
        argv = ("simulated:range_check", "--script", str(script), *places)
        code, told = run_json(monkeypatch, capsys, *argv)
        assert code == 1
        runs.append({key: told[key] for key in ("holds", "findings", "verdict", "prior")})
    assert runs[0] == runs[1]
    (first,) = runs[0]["holds"]
    assert (first["distance_m"], first["heading_deg"]) == (10.0, 0)
    session = list_sessions(tmp_path / "sessions")[0]
    marks = [text for _, kind, text in open_session(session.path).events() if kind == "mark"]
    assert marks == ["check: off", "check: on", "check: mark 10", "check: verdict"]
    assert session.duration_s == pytest.approx(35.0, abs=0.2)


def test_words_come_line_by_line(
    monkeypatch: Patch, capsys: Capture, places: tuple[str, str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("nonsense\nwalk\nverdict\n"))
    code, out, err = run_check(
        monkeypatch, capsys, "simulated:range_check", "--stdin", "--plain", *places
    )
    assert (code, err) == (1, "")
    assert "check: nonsense" in out
    assert "verdict: HOLD" in out


def test_plain_lines_end_with_reasons_and_where_to_look(
    monkeypatch: Patch, capsys: Capture, places: tuple[str, str]
) -> None:
    argv = ("simulated:range_check_no_failsafe", "--for", "20", "--plain", *places)
    code, out, _ = run_check(monkeypatch, capsys, *argv)
    assert code == 1
    assert "HOLD  failsafe: never reports failsafe" in out
    assert "-> look at the receiver's failsafe setting" in out
    assert "advice only" in out
    assert "check kept as" in out


def test_a_folder_that_cannot_be_written_is_told_and_the_verdict_still_given(
    monkeypatch: Patch, capsys: Capture, tmp_path: Path
) -> None:
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    (sessions / "checks").write_text("in the way", encoding="utf-8")
    code, told = run_json(
        monkeypatch, capsys, "simulated:range_check", "--for", "8", "--sessions", str(sessions)
    )
    assert (code, told["file"], told["verdict"]) == (1, None, "HOLD")
    assert "Cannot keep the range check" in told["trouble"]


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        ([], "needs a source"),
        (["simulated:range_check"], "nobody leads this check"),
        (["simulated:nonsense", "--for", "1"], "nonsense"),
        (["simulated:range_check", "--script", "none.toml"], "none.toml"),
        (["--history", "nobody"], "There are no range checks of 'nobody'"),
        (["simulated:range_check", "--for", "1", "--setup", "none.toml"], "set-up sheet"),
    ],
)
def test_wrong_usage_is_one_plain_sentence_and_code_2(
    argv: list[str], said: str, monkeypatch: Patch, capsys: Capture, places: tuple[str, str]
) -> None:
    code, out, err = run_check(monkeypatch, capsys, *argv, *places)
    assert (code, out) == (2, "")
    assert said.lower() in err.lower()
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "argv", [["--course-length", "-1"], ["--attenuation", "x"], ["--marks", "10,0"]]
)
def test_impossible_numbers_are_wrong_usage(argv: list[str], capsys: Capture) -> None:
    from groundstation.__main__ import main

    with pytest.raises(SystemExit) as stopped:
        main(["check", "simulated:range_check", *argv])
    assert stopped.value.code == 2
    assert argv[0] in capsys.readouterr().err


def test_the_help_has_the_caution_and_every_word(capsys: Capture) -> None:
    from groundstation.__main__ import main

    with pytest.raises(SystemExit):
        main(["check", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "no safety device" in said
    assert "driven wheels free" in said
    assert VOCABULARY in said


def test_the_set_up_sheet_binds_a_check(
    monkeypatch: Patch, capsys: Capture, places: tuple[str, str], tmp_path: Path
) -> None:
    sheet = tmp_path / "sheet.toml"
    sheet.write_text("track_width_mm = 212\n", encoding="utf-8")
    argv = ("simulated:range_check", "--for", "2", "--setup", str(sheet), "--note", "windy")
    _, told = run_json(monkeypatch, capsys, *argv, *places)
    assert len(told["bound"]["setup_hash"]) == 16
    facts = list_sessions(tmp_path / "sessions")[0].facts
    assert facts["setup"] == {"track_width_mm": 212}
    assert facts["notes"] == ["windy"]
    assert json.loads(json.dumps(facts["check"])) == facts["check"]


def test_another_vehicles_checks_are_not_compared(
    monkeypatch: Patch, capsys: Capture, tmp_path: Path
) -> None:
    keep(tmp_path, made_check(vehicle="another"))
    argv = ("simulated:range_check", "--for", "60", "--sessions", str(tmp_path))
    _, told = run_json(monkeypatch, capsys, *argv, "--marks", "10,20,40,80")
    (level,) = findings(told, Rule.LEVEL)
    assert level["text"] == "no earlier check of this vehicle to compare with"
