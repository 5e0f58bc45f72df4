"""How fast a recording replays: seconds for each hour of it, by `replay --json --speed max`.

Baseline, in the same run over the same bytes: a plain loop that understands every frame and does
nothing with it (split, `cobs.decode`, `crc_hqx`, `struct.unpack`). Between the two stand the
receiver alone, which gives every value its name, unit and place in time, and the core: receiver,
state of the car and of both links, ticks. Processor time, not time on the wall; what the command
takes for a session of one second is told apart, so that its start is not counted six times.
"""

from __future__ import annotations

import argparse
import json
import os
import struct
import subprocess
import sys
from binascii import crc_hqx
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import process_time

from cobs import cobs

from groundstation.inbound import BytesReceived
from groundstation.recording.reader import open_session
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from protocol import Receiver, standard_table
from protocol.table import HEADER
from tests.benchmarks._invented_session import PROFILE, TABLE, frames_in, write_session
from tests.benchmarks._targets import Row

ROUNDS = 3

QUICK = ("--minutes", "2")


def replay_s(path: Path) -> float:
    """Return the processor time of the command, start of the interpreter and all."""
    settings = path.with_name("settings.toml")
    settings.touch()
    command = [sys.executable, "-m", "groundstation", "replay", str(path), "--json"]
    command += ["--speed", "max", "--settings", str(settings)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise RuntimeError("the replay failed")
    return usage.ru_utime + usage.ru_stime


def receiver_s(path: Path) -> float:
    """Return the processor time of the receiver alone, run over the reads of the session."""
    inbounds = list(open_session(path).inbound())
    began_s = process_time()
    receiver = Receiver()
    for inbound in inbounds:
        if isinstance(inbound, BytesReceived):
            receiver.receive_data(inbound.data, inbound.at_s)
    return process_time() - began_s


def core_s(path: Path) -> float:
    """Return the processor time of the core alone, run over the events of the session."""
    session = open_session(path)
    inbounds = list(session.inbound())
    began_s = process_time()
    timeline = Timeline(Telemetry(PROFILE, table=TABLE), [])
    for inbound in inbounds:
        timeline.accept(inbound)
    timeline.advance(session.end_at_s)
    return process_time() - began_s


def plain_loop_s(path: Path) -> float:
    """Return the processor time of a loop that decodes every frame and keeps nothing."""
    data = open_session(path).columns().data
    layouts = {
        kind.code: struct.Struct(HEADER.format + kind.layout.format.lstrip("<"))
        for kind in standard_table().kinds
    }
    good = 0
    began_s = process_time()
    for block in data.split(b"\0"):
        if block:
            frame = cobs.decode(block)
            if crc_hqx(frame, 0xFFFF) == 0:
                layouts[frame[0]].unpack(frame[:-2])
                good += 1
    passed_s = process_time() - began_s
    if good != data.count(0):
        raise RuntimeError("the plain loop missed frames")
    return passed_s


def run(minutes: float) -> dict[str, float]:
    """Return the processor time of each way, in seconds for an hour of recording."""
    with TemporaryDirectory() as folder:
        path = write_session(Path(folder) / "long.session", minutes * 60)
        short = write_session(Path(folder) / "short.session", 1.0)
        rounds = [
            (replay_s(path), replay_s(short), core_s(path), receiver_s(path), plain_loop_s(path))
            for _ in range(ROUNDS)
        ]
    replay, start, core, receiver, plain = (median(way) for way in zip(*rounds, strict=True))
    frames, per_hour = frames_in(minutes * 60), 60 / minutes
    return {
        "minutes": minutes,
        "frames": frames,
        "start_s": start,
        "replay_s_per_hour": (replay - start) * per_hour,
        "core_s_per_hour": core * per_hour,
        "receiver_s_per_hour": receiver * per_hour,
        "plain_loop_s_per_hour": plain * per_hour,
        "replay_us_per_frame": (replay - start) * 1e6 / frames,
        "core_us_per_frame": core * 1e6 / frames,
        "receiver_us_per_frame": receiver * 1e6 / frames,
        "plain_loop_us_per_frame": plain * 1e6 / frames,
    }


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    per_hour_s = found["replay_s_per_hour"]
    ratio = per_hour_s / found["plain_loop_s_per_hour"]
    return [
        Row(
            "replay --json --speed max",
            f"{3600 / per_hour_s:.0f} times real time",
            ">= 50 times",
            per_hour_s <= 3600 / 50,
            "plain decoding loop",
            ratio,
        )
    ]


def main(argv: list[str]) -> int:
    """Print how fast a recording replays, beside the plain loop."""
    parser = argparse.ArgumentParser(prog="replay_speed", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--minutes", type=float, default=10.0, help="length of the session")
    options = parser.parse_args(argv)
    found = run(options.minutes)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"session of {found['minutes']:g} min, {found['frames']:,} frames; processor time")
    print("                             s an hour   us a frame   ratio")
    for way, name in (
        ("plain_loop", "plain decoding loop"),
        ("receiver", "receiver"),
        ("core", "core"),
        ("replay", "replay --json --speed max"),
    ):
        per_hour_s = found[f"{way}_s_per_hour"]
        ratio = per_hour_s / found["plain_loop_s_per_hour"]
        print(f"  {name:25}  {per_hour_s:9.2f}", end="")
        print(f"    {found[f'{way}_us_per_frame']:9.2f}   {ratio:5.1f}")
    print(f"  and once, to start         {found['start_s']:9.2f} s")
    return 0
