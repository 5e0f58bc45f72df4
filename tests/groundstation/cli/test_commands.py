"""Every command as its user types it, in process; exit codes and one plain sentence."""

from __future__ import annotations

import argparse
import io
import json
import shlex
import subprocess
import sys
from pathlib import Path
from typing import cast

import pandas as pd
import pytest

from groundstation.__main__ import main
from groundstation.cli import demo, live, picking
from groundstation.cli.parser import COMMANDS, Command, build_parser, parse
from groundstation.sources import listing
from groundstation.sources.listing import FoundPort
from protocol import Sender
from tests.groundstation.cli.running import run


@pytest.fixture
def edge(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    path = tmp_path / "edge.session"
    scenario = ("--scenario", "range_edge", "--seed", "7", "--for", "20")
    code, _, _ = run(capsys, "simulate", *scenario, "--out", str(path))
    assert code == 0
    return path


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_says_what_it_is_for_with_an_example(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, command, "--help")
    assert code == 0
    assert out.rstrip().splitlines()[-2].startswith(f"  groundstation {command}")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_example_is_understood(command: str) -> None:
    examples = cast("Command", COMMANDS[command]).EXAMPLES
    assert 2 <= len(examples) <= 3
    for typed, _ in examples:
        program, *argv = shlex.split(typed.partition(">")[0])
        assert program == "groundstation"
        assert argv[:1] in ([], [command])
        assert len(typed) <= 78
        build_parser().parse_args(argv or ["live"])


class Tty(io.StringIO):
    """Output that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def test_alone_on_a_terminal_it_asks_what_to_watch(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", Tty())
    monkeypatch.setattr("sys.stdout", Tty())
    arguments = parse([])
    assert arguments.run is live.run
    assert arguments.source is None


def test_alone_without_a_terminal_it_is_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys)
    assert (code, out) == (2, "")
    assert err.startswith("usage: groundstation")


def test_the_demo_that_was_chosen_runs_as_the_demo_does(monkeypatch: pytest.MonkeyPatch) -> None:
    ran: list[argparse.Namespace] = []
    monkeypatch.setattr(picking, "pick_source", lambda folder, *, theme: picking.DEMO)
    monkeypatch.setattr(demo, "run", lambda arguments: ran.append(arguments) or 0)
    assert main(["live", "--units", "mph"]) == 0
    (arguments,) = ran
    usual = vars(parse(["demo", "--units", "mph"]))
    assert {name: vars(arguments)[name] for name in usual if name != "run"} == {
        name: value for name, value in usual.items() if name != "run"
    }


def test_what_is_plugged_in_stands_before_the_demo(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ports = [
        FoundPort("/dev/ttyS0", "", vid=None, pid=None, serial_number=None),
        FoundPort("/dev/ttyUSB0", "USB adapter", vid=0x0403, pid=0x6001, serial_number="A1"),
    ]
    monkeypatch.setattr(listing, "list_serial_ports", lambda: ports)
    (tmp_path / "dart.toml").write_text("number = 1", encoding="utf-8")
    offered = [offer.source for offer in picking._offers(tmp_path)]
    assert offered == ["dart", "serial:/dev/ttyUSB0", "demo", "serial:/dev/ttyS0"]


def test_the_caution_stands_in_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "--help")
    assert code == 0
    assert "no safety device" in " ".join(out.split())


@pytest.mark.parametrize(
    ("argv", "said"),
    [
        (["live", "sreial:/dev/ttyUSB0"], "sreial"),
        (["live", "tcp://127.0.0.1"], "port"),
        (["live", "simulated:nonsense"], "nonsense"),
        (["replay", "no-such-session"], "There is no session 'no-such-session'"),
        (["replay", "last"], "There is no session 'last'"),
        (["export", "no-such-session"], "There is no session 'no-such-session'"),
        (["simulate", "--scenario", "nonsense", "--out", "x.session"], "nonsense"),
        (["simulate", "--scenario", "crash"], "--out"),
        (["simulate", "--scenario", "crash", "--stream", "serial:/dev/x"], "Cannot stream"),
        (["sessions", "--settings", "none.toml"], "There is no settings file none.toml"),
        (["live", "COM1", "--channels", "none.toml"], "none.toml"),
        (["import", "none.csv"], "There is no file none.csv"),
    ],
)
def test_wrong_usage_is_one_plain_sentence_and_code_2(
    argv: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, *argv)
    assert code == 2
    assert out == ""
    assert said in err
    assert err.startswith("groundstation: ")
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"SQLite format 3\x00" + bytes(200), ""),
        (b"no frames here\n" * 50, "frame"),
        (b"\xff" * 5000, "frame"),
    ],
)
def test_a_file_that_is_no_recording_is_a_failed_job(
    content: bytes, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "foreign.session"
    path.write_bytes(content)
    code, out, err = run(capsys, "replay", str(path), "--json", "--speed", "max")
    assert (code, out) == (1, "")
    assert said in err
    assert err.count("\n") == 1


def test_replay_speeds_are_checked(edge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for speed in ("0.05", "51", "-1", "nan"):
        code, _, err = run(capsys, "replay", str(edge), "--json", "--speed", speed)
        assert code == 2
        assert "0.1 to 50" in err


def test_replay_as_json_lines(edge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "replay", str(edge), "--json", "--speed", "max")
    lines = [json.loads(line) for line in out.splitlines()]
    states = [line for line in lines if line["event"] == "state"]
    assert (code, err) == (0, "")
    assert [round(line["at_s"], 6) for line in states] == [n / 10 for n in range(len(states))]
    assert lines[-1]["event"] == "end"
    assert lines[-1]["session"] == str(edge)
    for key in [
        "speed_mps",
        "yaw_rate_dps",
        "accel_g",
        "control_rssi_dbm",
        "margin_db",
        "stop_margin_db",
        "stop_margin_p05_db",
        "lift_in_s",
        "distance_m",
        "level",
        "vehicle_s",
        "at_s",
    ]:
        assert key in states[-1]
    assert set(states[-1]["telemetry"]) >= {"frames", "lost", "rejected", "loss_ratio", "age_s"}


def test_replay_as_plain_lines(edge: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "replay", str(edge), "--plain", "--speed", "max", "--units", "mph")
    assert code == 0
    assert "mph" in out
    assert "LIFT: stop margin" in out
    assert out.splitlines()[-1].startswith("end: ")


def test_a_capture_gives_the_same_samples_as_the_session(
    edge: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raw = tmp_path / "edge.bin"
    scenario = ("--scenario", "range_edge", "--seed", "7", "--for", "20")
    assert run(capsys, "simulate", *scenario, "--out", str(raw))[0] == 0
    for name, path in (("a", edge), ("b", raw)):
        assert run(capsys, "export", str(path), "--out", str(tmp_path / name))[0] == 0
    of_session = pd.read_csv(tmp_path / "a" / "edge.motion.csv")
    of_capture = pd.read_csv(tmp_path / "b" / "edge.motion.csv")
    same = [name for name in of_session if name != "at_s"]
    pd.testing.assert_frame_equal(of_session[same], of_capture[same])


def test_export_writes_what_replay_shows(
    edge: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = run(capsys, "export", str(edge), "--format", "parquet", "--out", str(tmp_path))
    assert code == 0
    assert len(out.splitlines()) == 5
    motion = pd.read_parquet(tmp_path / "edge.motion.parquet")
    ident = pd.read_parquet(tmp_path / "edge.ident.parquet")
    _, lines, _ = run(capsys, "replay", str(edge), "--json", "--speed", "max")
    end = json.loads(lines.splitlines()[-1])
    assert motion["speed_mps"].max() == end["peak_speed_mps"]
    assert set(ident["vehicle_name"]) == {"invented car"}
    assert run(capsys, "export", str(edge), "--format", "parquet", "--out", str(tmp_path))[0] == 2


def test_sessions_are_listed_with_their_figures(
    edge: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bad.session").write_bytes(b"no session")
    code, out, _ = run(capsys, "sessions", "--sessions", str(tmp_path), "--json")
    bad, good = json.loads(out)["sessions"]
    assert code == 0
    assert (bad["file"], good["file"]) == ("bad.session", "edge.session")
    assert bad["problem"]
    assert good["peak_speed_mps"] > 40
    assert good["lowest_margin_db"] < 5
    code, out, _ = run(capsys, "sessions", "--sessions", str(tmp_path), "--units", "mph")
    assert code == 0
    assert "edge.session" in out


def test_no_sessions_is_no_error(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "sessions", "--sessions", str(tmp_path / "none"))
    assert code == 0
    assert "no sessions" in out


def test_a_simulation_is_not_written_over_a_file(
    edge: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    argv = ("simulate", "--scenario", "crash", "--for", "5", "--out", str(edge))
    assert run(capsys, *argv)[0] == 2
    assert run(capsys, *argv, "--force")[0] == 0


def test_a_builders_own_channels_are_recorded_shown_and_exported(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    channels = tmp_path / "car.toml"
    channels.write_text(
        '[[kind]]\nname = "motor"\ncode = 0x80\n[[kind.field]]\nname = "motor_speed_rpm"\n'
        'type = "u16"\nmin = 0\nmax = 65000\nunknown = 65535\nlabel = "motor"\n'
    )
    from protocol import load_table

    sender = Sender(load_table(channels))
    capture = tmp_path / "own.bin"
    with capture.open("wb") as out:
        for count in range(200):
            out.write(sender.encode("motion", {"speed_mps": 3.0}, count * 10_000))
            out.write(sender.encode("motor", {"motor_speed_rpm": 1000 + count}, count * 10_000))
    own = ("--channels", str(channels))
    _, lines, _ = run(capsys, "replay", str(capture), "--json", "--speed", "max", *own)
    states = [json.loads(line) for line in lines.splitlines() if '"state"' in line]
    assert states[-1]["channels"] == {"motor_speed_rpm": 1190}
    run(capsys, "export", str(capture), "--out", str(tmp_path), *own)
    motor = pd.read_csv(tmp_path / "own.motor.csv")
    assert list(motor["motor_speed_rpm"]) == list(range(1000, 1200))
    _, lines, _ = run(capsys, "replay", str(capture), "--json", "--speed", "max")
    assert json.loads(lines.splitlines()[-1])["unknown"] == 200


def test_a_reader_that_leaves_early_is_no_error(edge: Path) -> None:
    command = [sys.executable, "-m", "groundstation", "replay", str(edge), "--json"]
    with subprocess.Popen(
        [*command, "--speed", "max"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0


HEAVY = "{'numpy', 'pandas', 'plotly', 'pyarrow', 'scipy', 'bleak', 'serial', 'sounddevice'}"


def loaded_after(program: str) -> str:
    """Return which heavy libraries are there when a program has run."""
    program += f"\nimport sys; print('loaded', sorted({HEAVY} & set(sys.modules)))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    return done.stdout.splitlines()[-1]


def test_heavy_libraries_are_not_loaded_to_parse_any_command() -> None:
    program = (
        "import sys; from groundstation.__main__ import main\n"
        "from groundstation.cli.parser import COMMANDS\n"
        "for words in ([], *([name] for name in COMMANDS)):\n"
        "    try: main([*words, '--help'])\n"
        "    except SystemExit: pass\n"
        "assert not {'textual', 'rich'} & set(sys.modules)"
    )
    assert loaded_after(program) == "loaded []"


def test_heavy_libraries_are_not_loaded_before_the_first_picture() -> None:
    # All that `demo` and `live` need up to there; the port's library is opened with the port.
    program = (
        "import groundstation.cli.watching, groundstation.cli.check_standing\n"
        "import groundstation.cli.picking, groundstation.screens.app\n"
        "import groundstation.sources.pseudo_terminal\n"
        "from groundstation.sources.simulated import SCENARIOS, emissions_of\n"
        "emissions_of(SCENARIOS['demo'], seed=1)"
    )
    assert loaded_after(program) == "loaded []"


def test_an_error_is_broken_between_words_for_a_terminal_alone(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong = ("report", "last", "--json", "--out", "page.html")
    monkeypatch.setenv("COLUMNS", "40")
    _, _, piped = run(capsys, *wrong)
    assert piped.count("\n") == 1
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    _, _, shown = run(capsys, *wrong)
    assert [len(row) <= 40 for row in shown.splitlines()] == [True, True]
    assert shown.split() == piped.split()
