"""The user's own commands, run at a level."""

from __future__ import annotations

import json
import os
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from shlex import quote

import pytest

from groundstation.errors import SettingsError
from groundstation.radio.level import Level
from groundstation.sound import command
from groundstation.sound.command import RUNNING_AT_ONCE, LevelCommands, facts
from groundstation.vehicle.session_events import LevelChanged
from groundstation.vehicle.snapshot import ControlLink, Forecast, Snapshot

KNOWN = Snapshot(
    control=ControlLink(margin_db=12.34), forecast=Forecast(stop_margin_p05_db=2.26, lift_in_s=0.4)
)

TELL = """
import json, os, sys
told = {n: v for n, v in os.environ.items() if n.startswith("GROUNDSTATION_")}
json.dump([sys.argv[2:], told], open(sys.argv[1], "w"))
"""


def change(level: Level = Level.LIFT, reason: str = "margin 2.6 dB, under 3 dB") -> LevelChanged:
    return LevelChanged(3.0, 8.0, level, Level.THIN, reason, lift_in_s=0.0)


def program(text: str, *arguments: str) -> str:
    return " ".join(quote(word) for word in (sys.executable, "-c", text, *arguments))


def at_once(job: Callable[[], None]) -> None:
    job()


class Threads:
    """Starts real threads and remembers them."""

    def __init__(self) -> None:
        self.started: list[threading.Thread] = []

    def __call__(self, job: Callable[[], None]) -> None:
        thread = threading.Thread(target=job)
        self.started.append(thread)
        thread.start()

    def join(self) -> None:
        for thread in self.started:
            thread.join()


def test_command_is_told_what_happened_and_no_shell_reads_it(tmp_path: Path) -> None:
    told_path = tmp_path / "told"
    words = ["two words", "$HOME", "; echo", "*", "`id`"]
    commands = LevelCommands(
        {Level.LIFT: program(TELL, str(told_path), *words)}, start_thread=at_once
    )
    commands.run(change(), KNOWN)
    arguments, told = json.loads(told_path.read_text())
    for own in ("GROUNDSTATION_NODE_MODULES", "GROUNDSTATION_TEST_SDISTS"):
        told.pop(own, None)  # of the test run itself
    assert arguments == words
    assert told == {
        "GROUNDSTATION_LEVEL": "LIFT",
        "GROUNDSTATION_PREVIOUS_LEVEL": "THIN",
        "GROUNDSTATION_REASON": "margin 2.6 dB, under 3 dB",
        "GROUNDSTATION_MARGIN_DB": "12.3",
        "GROUNDSTATION_STOP_MARGIN_DB": "2.3",
        "GROUNDSTATION_LIFT_IN_S": "0.0",
    }
    assert commands.trouble == ""


def test_unknown_is_left_out_and_no_text_can_break_the_environment(tmp_path: Path) -> None:
    first = LevelChanged(0.0, None, Level.LOST, None, "a\x00b\nc\udc80")
    assert facts(first, Snapshot()) == {
        "GROUNDSTATION_LEVEL": "LOST",
        "GROUNDSTATION_REASON": "a\ufffdb\ufffdc\ufffd",
    }
    told_path = tmp_path / "told"
    commands = LevelCommands({Level.LOST: program(TELL, str(told_path))}, start_thread=at_once)
    commands.run(first, Snapshot())
    assert json.loads(told_path.read_text())[1]["GROUNDSTATION_REASON"] == "a\ufffdb\ufffdc\ufffd"


def test_only_the_levels_that_have_one_run_a_command() -> None:
    started: list[Callable[[], None]] = []
    commands = LevelCommands({Level.LOST: "horn"}, start_thread=started.append)
    commands.run(change(Level.LIFT), KNOWN)
    assert started == []
    commands.run(change(Level.LOST), KNOWN)
    assert len(started) == 1


def test_nobody_waits_for_a_command(tmp_path: Path) -> None:
    gate = tmp_path / "gate"
    os.mkfifo(gate)
    threads = Threads()
    waits = program("import sys; open(sys.argv[1]).read()", str(gate))
    commands = LevelCommands({Level.LIFT: waits}, start_thread=threads)
    commands.run(change(), KNOWN)
    # It hangs until the gate opens, and we are here.
    assert threads.started[0].is_alive()
    with gate.open("w"):
        pass
    threads.join()
    assert commands.trouble == ""


def test_no_more_than_a_few_run_at_once() -> None:
    held: list[Callable[[], None]] = []
    commands = LevelCommands({Level.LIFT: program("")}, start_thread=held.append)
    for _ in range(RUNNING_AT_ONCE + 1):
        commands.run(change(), KNOWN)
    assert len(held) == RUNNING_AT_ONCE
    assert commands.trouble == "the command for LIFT was left out: 4 still run"
    held[0]()
    commands.run(change(), KNOWN)
    assert len(held) == RUNNING_AT_ONCE + 1


@pytest.mark.parametrize(
    ("text", "trouble"),
    [
        ("raise SystemExit(3)", "the command for LIFT ended with code 3"),
        ("", ""),
    ],
)
def test_how_it_ends(text: str, trouble: str) -> None:
    commands = LevelCommands({Level.LIFT: program(text)}, start_thread=at_once)
    commands.run(change(), KNOWN)
    assert commands.trouble == trouble


def test_a_command_that_is_not_there_is_a_sentence() -> None:
    commands = LevelCommands({Level.LIFT: "/no/such/horn --loud"}, start_thread=at_once)
    commands.run(change(), KNOWN)
    assert commands.trouble == (
        "cannot run the command for LIFT, /no/such/horn: No such file or directory"
    )


def test_a_command_without_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(command, "LONGEST_S", 0.05)
    endless = program("import signal; signal.pause()")
    commands = LevelCommands({Level.LIFT: endless}, start_thread=at_once)
    commands.run(change(), KNOWN)
    assert commands.trouble == "the command for LIFT was ended after 0.05 s"


def test_a_real_thread_runs_it(tmp_path: Path) -> None:
    told_path, before = tmp_path / "told", set(threading.enumerate())
    commands = LevelCommands({Level.LIFT: program(TELL, str(told_path))})
    commands.run(change(), KNOWN)
    for thread in set(threading.enumerate()) - before:
        thread.join()
    assert told_path.exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("horn 'loud", "The sound command for LIFT cannot be read: no closing quotation."),
        ("   ", "The sound command for LIFT is empty."),
    ],
)
def test_an_unreadable_command_is_refused_at_the_start(text: str, said: str) -> None:
    with pytest.raises(SettingsError) as caught:
        LevelCommands({Level.LIFT: text})
    assert str(caught.value).lower().startswith(said.lower())
