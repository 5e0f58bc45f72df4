"""The process that plays tones, stood in for by small programs that answer as it does."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundstation.radio.level import Level
from groundstation.sound import tone_output
from groundstation.sound.outputs import Beat
from groundstation.sound.tone_output import UNANSWERED, ToneOutput

PATIENCE_S = 20.0

ECHO = """
import sys
print("ready", flush=True)
with open(sys.argv[1], "w") as heard:
    for line in sys.stdin:
        heard.write(line); heard.flush()
        print("playing", flush=True)
"""
MUTE = "import sys; print('ready', flush=True); sys.stdin.read()"
NEVER_READY = "import sys; sys.stdin.read()"


def beat(margin_db: float | None = 10.0, level: Level = Level.THIN) -> Beat:
    return Beat(level=level, sounding_s=0.1, stop_margin_db=margin_db)


@pytest.fixture
def opened() -> Iterator[list[ToneOutput]]:
    outputs: list[ToneOutput] = []
    yield outputs
    for output in outputs:
        output.close()


def started(opened: list[ToneOutput], program: str, *arguments: str) -> ToneOutput:
    output = ToneOutput([sys.executable, "-c", program, *arguments])
    opened.append(output)
    output.prepare()
    return output


def test_beats_become_requests(opened: list[ToneOutput], tmp_path: Path) -> None:
    output = started(opened, ECHO, str(tmp_path / "heard"))
    assert output.ready.wait(PATIENCE_S)
    assert output.sound(beat(10.0))
    assert output.sound(beat(None, Level.LOST))
    assert output.sound(beat(None, Level.LIFT))
    output.close()
    heard = (tmp_path / "heard").read_text().splitlines()
    assert heard == ["1200.0 0.100", "2400.0 0.100", "1949.4 0.100"]
    assert output.trouble == ""
    assert not output.sound(beat())


def test_until_it_is_ready_the_beat_is_for_the_bell(opened: list[ToneOutput]) -> None:
    output = started(opened, NEVER_READY)
    assert not output.sound(beat())
    assert output.trouble == ""


def test_one_that_answers_no_longer_is_not_waited_for(opened: list[ToneOutput]) -> None:
    output = started(opened, MUTE)
    assert output.ready.wait(PATIENCE_S)
    heard = [output.sound(beat()) for _ in range(UNANSWERED + 3)]
    assert heard == [True] * UNANSWERED + [False] * 3
    assert output.trouble == ("no tones, the bell rings instead: the sound device does not answer")


@pytest.mark.parametrize(
    ("program", "reason"),
    [
        ("print('trouble there is no \\x1b[31mdevice')", "there is no \ufffd[31mdevice"),
        ("raise SystemExit(3)", "it ended by itself"),
        ("print('ready'); raise SystemExit(3)", "it ended by itself"),
    ],
)
def test_one_that_ends_is_a_sentence(opened: list[ToneOutput], program: str, reason: str) -> None:
    output = started(opened, program)
    assert output.ended.wait(PATIENCE_S)
    assert not output.sound(beat())
    assert output.trouble == f"no tones, the bell rings instead: {reason}"


def test_one_that_cannot_be_started_is_a_sentence(tmp_path: Path) -> None:
    output = ToneOutput([str(tmp_path / "no such program")])
    assert not output.sound(beat())
    assert output.ended.wait(PATIENCE_S)
    assert output.trouble == "no tones, the bell rings instead: No such file or directory"
    output.close()


def test_closing_ends_the_process_even_if_it_does_not_listen(
    opened: list[ToneOutput], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tone_output, "END_S", 0.1)
    output = started(opened, "import signal; print('ready', flush=True); signal.pause()")
    assert output.ready.wait(PATIENCE_S)
    output.close()
    assert output.ended.wait(PATIENCE_S)
    assert output.trouble == ""


def test_closing_before_anything_began_starts_nothing() -> None:
    output = ToneOutput([sys.executable, "-c", MUTE])
    output.close()
    output.close()
    assert not output.sound(beat())
    assert not output.ready.is_set()


def test_our_own_speaker_is_found_and_answers() -> None:
    # Where there is no audio, as on a test machine, it says so; where there is, it is ready.
    output = ToneOutput()
    output.prepare()
    while not (output.ready.wait(0.05) or output.ended.is_set()):
        pass
    assert output.ready.is_set() or output.trouble
    assert "ended by itself" not in output.trouble
    assert "No module named 'groundstation'" not in output.trouble
    output.close()
