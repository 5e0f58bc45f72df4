"""A program that records until it is killed: `python -m tests.groundstation.recording.victim`.

It writes one `HANDED` for each chunk that it has handed to its recorder, and then waits for a byte
on its standard input, or for as long as a rate says.
"""

from __future__ import annotations

import os
import struct
import subprocess
import sys
import time
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from groundstation.inbound import BytesReceived, Inbound, MarkMade
from groundstation.recording.writer import Recorder

HANDED = struct.Struct("<Id")
"""Number and arrival time of a chunk."""

ROOT = Path(__file__).parents[3]
CHUNKS_A_MARK = 50


def inbound_of(number: int, at_s: float) -> Sequence[Inbound]:
    chunk = BytesReceived(at_s, number.to_bytes(4, "little") * 9)
    if number % CHUNKS_A_MARK == CHUNKS_A_MARK - 1:
        return [chunk, MarkMade(at_s, str(number))]
    return [chunk]


def start(folder: Path, rate_hz: float = 0.0) -> subprocess.Popen[bytes]:
    """Start a victim; it waits for a byte after each chunk where the rate is 0."""
    command = [sys.executable, "-m", "tests.groundstation.recording.victim"]
    return subprocess.Popen(
        [*command, str(folder), str(rate_hz)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        bufsize=0,
    )


def main(folder: Path, rate_hz: float) -> None:
    recorder = Recorder(folder, facts={}, started=datetime.now(), software_version="victim")
    recorder.flush()
    began_s = time.monotonic()
    number = 0
    while True:
        at_s = time.monotonic() - began_s
        for inbound in inbound_of(number, at_s):
            recorder.record(inbound)
        os.write(1, HANDED.pack(number, at_s))
        number += 1
        if rate_hz:
            time.sleep(1 / rate_hz)
        else:
            os.read(0, 1)


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]))
