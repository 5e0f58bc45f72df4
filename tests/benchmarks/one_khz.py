"""What reading, decoding and recording 1000 motion frames a second take of a core.

The frames come through a pseudo-terminal and the very source, receiver and recorder that `live`
uses. Baseline, in the same run behind the same port: a loop that only reads (`read(1)`, then what
waits) and throws away. Each is a process of its own; its processor time is counted, all threads.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import subprocess
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from time import monotonic, perf_counter, process_time, sleep

import serial

from groundstation.clock import MonotonicClock
from groundstation.inbound import BytesReceived
from groundstation.recording.writer import Recorder
from groundstation.sources.base import open_source
from groundstation.sources.pseudo_terminal import PseudoTerminal
from protocol import Receiver
from tests.benchmarks._frame_streams import stream_of
from tests.benchmarks._targets import Row

RATE_HZ = 1000
SETTLE_S = 1.0
LONGEST_START_S = 20.0
WAYS = ("ours", "reading alone")
QUICK = ("--seconds", "3")


def counted(seconds: float) -> Iterator[None]:
    """Go on until the time is over; print the share of a core since it has settled."""
    began_s = monotonic()
    while monotonic() - began_s < SETTLE_S:
        yield
    cpu_s, settled_s = process_time(), monotonic()
    while monotonic() - settled_s < seconds:
        yield
    print((process_time() - cpu_s) / (monotonic() - settled_s), flush=True)


async def understand(port: str, seconds: float, folder: Path) -> None:
    """Read, decode and record."""
    receiver, frames, ticking = Receiver(), 0, None
    with Recorder(
        folder, facts={}, started=datetime(2026, 1, 1, tzinfo=UTC), software_version="benchmark"
    ) as recorder:
        async with open_source(f"serial:{port}", clock=MonotonicClock()) as source:
            async for inbound in source.events():
                recorder.record(inbound)
                if isinstance(inbound, BytesReceived):
                    frames += len(receiver.receive_data(inbound.data, inbound.at_s))
                    ticking = ticking or counted(seconds)
                    if next(ticking, StopIteration) is StopIteration:
                        break
    if recorder.lost_bytes or frames < seconds * RATE_HZ * 0.9:
        raise RuntimeError(f"{frames} frames came; {recorder.trouble}")


def read_alone(port: str, seconds: float) -> None:
    """Read and throw away."""
    with serial.Serial(port, timeout=0.2) as open_port:
        for _ in counted(seconds):
            open_port.read(1)
            open_port.read(open_port.in_waiting)


def core_share(way: str, seconds: float) -> float:
    """Return the share of a core that a way takes, in a process of its own."""
    data = stream_of("motion", frames=round(RATE_HZ * (seconds + LONGEST_START_S))).data
    frames = iter([block + b"\0" for block in data.split(b"\0")[:-1]])
    with PseudoTerminal() as port:
        command = [sys.executable, "-m", "tests.benchmarks", "one_khz"]
        command += ["--way", way, "--port", port.path, "--seconds", str(seconds)]
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        due_s = perf_counter()
        while child.poll() is None:
            port.write(next(frames))
            due_s += 1 / RATE_HZ
            sleep(max(due_s - perf_counter(), 0.0))
        told = child.communicate()[0]
    if child.returncode != 0:
        raise RuntimeError(f"{way} did not finish")
    return float(told)


def run(seconds: float) -> dict[str, float]:
    """Return the shares of a core, and their ratio."""
    ours, reading = (core_share(way, seconds) for way in WAYS)
    return {"ours": ours, "reading_alone": reading, "ratio": ours / reading}


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    ours, ratio = found["ours"], found["ratio"]
    work = "read, decode and record at 1 kHz"
    met = ours < 0.03
    return [Row(work, f"{ours:.1%} of a core", "< 3 %", met, "reading alone", ratio)]


def main(argv: list[str]) -> int:
    """Print the shares of a core."""
    parser = argparse.ArgumentParser(prog="one_khz", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seconds", type=float, default=10.0, help="length of each measurement")
    parser.add_argument("--way", choices=WAYS, help=argparse.SUPPRESS)
    parser.add_argument("--port", help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.way == "ours":
        with TemporaryDirectory() as folder:
            asyncio.run(understand(options.port, options.seconds, Path(folder)))
        return 0
    if options.way:
        read_alone(options.port, options.seconds)
        return 0
    found = run(options.seconds)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"motion frames at {RATE_HZ} Hz, sent one by one; of a core")
    print(f"  read, decode, record   {found['ours']:6.1%}   (target < 3 %)")
    print(f"  reading alone          {found['reading_alone']:6.1%}")
    print(f"  ratio                  {found['ratio']:6.2f}")
    return 0
