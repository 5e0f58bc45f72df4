"""SIGKILL at any moment: what was handed over is in the file, in order and without a gap."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from groundstation.inbound import BytesReceived
from groundstation.recording import names
from groundstation.recording.reader import open_session
from tests.groundstation.recording import victim
from tests.groundstation.recording.examples import some_inbound

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")

AT_RISK_S = 0.5


@pytest.mark.parametrize("seed", range(10))
def test_a_kill_loses_less_than_half_a_second(tmp_path: Path, seed: int) -> None:
    chunks = random.Random(seed).randint(1, 2500)
    with victim.start(tmp_path) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        handed = b""
        for _ in range(chunks):
            handed += process.stdout.read(victim.HANDED.size)
            process.stdin.write(b".")
        process.kill()
        handed += process.stdout.read()
    assert process.returncode == -signal.SIGKILL
    told = [victim.HANDED.unpack_from(handed, place) for place in range(0, len(handed) - 11, 12)]
    assert len(told) >= chunks

    (path,) = tmp_path.glob(f"*{names.SUFFIX}")
    session = open_session(path)
    stored = list(session.inbound())
    # The victim may have been killed between handing a chunk over and telling of it.
    times_s = [at_s for _, at_s in told]
    times_s += [each.at_s for each in stored if each.at_s > times_s[-1]][:1]
    sent = [each for number, at_s in enumerate(times_s) for each in victim.inbound_of(number, at_s)]
    assert stored == sent[: len(stored)]
    last_s = stored[-1].at_s if stored else 0.0
    assert times_s[-1] - last_s < AT_RISK_S
    assert not session.info.ended_cleanly
    assert session.info.end_at_s == last_s


CLOSING = """
import os, signal, sys
from pathlib import Path
from groundstation.recording import compaction
from tests.groundstation.recording.examples import record, some_inbound

replace, left = compaction._replace, int(sys.argv[2])

def replace_or_die(connection, block):
    global left
    left -= 1
    if left < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    replace(connection, block)

compaction._replace = replace_or_die
record(Path(sys.argv[1]), some_inbound(3000))
"""


@pytest.mark.parametrize("blocks", [0, 1, 11])
def test_a_kill_while_chunks_are_merged_loses_nothing(tmp_path: Path, blocks: int) -> None:
    command = [sys.executable, "-c", CLOSING, str(tmp_path), str(blocks)]
    ended = subprocess.run(command, cwd=victim.ROOT, check=False)
    assert ended.returncode == -signal.SIGKILL
    (path,) = tmp_path.glob(f"*{names.SUFFIX}")
    assert list(open_session(path).inbound()) == some_inbound(3000)


def test_a_killed_session_can_be_described_afterwards_and_is_one_file_then(tmp_path: Path) -> None:
    with victim.start(tmp_path) as process:
        assert process.stdout is not None
        process.stdout.read(victim.HANDED.size)
        process.kill()
    (path,) = tmp_path.glob(f"*{names.SUFFIX}")
    before = list(open_session(path).inbound())
    assert names.side_files(path)
    open_session(path).add_note("the laptop's battery fell out")
    assert not names.side_files(path)
    session = open_session(path)
    assert session.info.facts == {"notes": ["the laptop's battery fell out"]}
    assert list(session.inbound()) == before
    assert all(isinstance(each, BytesReceived) for each in before)
