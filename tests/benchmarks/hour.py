"""An hour of live running in a few minutes: does memory stay flat, is every frame recorded?

Invented frames, motion at 200 Hz, go through the very station that `live` runs, recorder on, with
a listener that takes a snapshot at every tick as a screen does. Nobody waits: the clock jumps.
Baseline of the memory is the figure at ten minutes. Two processes, because tracing memory costs
some: one tells resident memory and processor time, the other what Python has allocated.

The recorder's share is a lower bound for a real hour: here it is woken for several reads at once.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterable, Iterator
from hashlib import blake2b
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from groundstation.inbound import BytesReceived, Inbound
from groundstation.recording.reader import open_session
from groundstation.recording.writer import Recorder
from groundstation.sources.address import SimulatedAddress
from groundstation.sources.base import Source
from groundstation.sources.simulated import SimulatedSource
from groundstation.station import Station
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from tests.autojump import AutojumpClock
from tests.benchmarks._invented_session import KEEPER, PROFILE, STARTED, TABLE, reads
from tests.benchmarks._targets import Row

MOTION_HZ = 200
SAMPLE_S = 300.0
SETTLED_S = 600.0
GROWTH_MB = 5.0
"""Less than this, after memory has settled, is called flat."""

QUICK = ("--minutes", "20")


class TimedTelemetry(Telemetry):
    """The core, with a count of the processor time it takes."""

    cpu_s = 0.0

    def handle(self, inbound: Inbound) -> list[SessionEvent]:
        began_s = time.thread_time()
        events = super().handle(inbound)
        self.cpu_s += time.thread_time() - began_s
        return events

    def tick(self, now_s: float) -> list[SessionEvent]:
        began_s = time.thread_time()
        events = super().tick(now_s)
        self.cpu_s += time.thread_time() - began_s
        return events

    def snapshot(self) -> Snapshot:
        began_s = time.thread_time()
        snapshot = super().snapshot()
        self.cpu_s += time.thread_time() - began_s
        return snapshot


class Watcher:
    """A listener that looks at every tick, as a screen does."""

    def happened(self, event: SessionEvent) -> None:
        """Look at the event list only when the tick comes."""

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        self.seen = telemetry.snapshot()


class Sent:
    """What went into the session; now and then it waits for the recorder, as real time would."""

    def __init__(self) -> None:
        self.frames = 0
        self.digest = blake2b()
        self.recorder: Recorder | None = None

    def counting(self, emissions: Iterable[BytesReceived]) -> Iterator[BytesReceived]:
        for number, emission in enumerate(emissions):
            self.frames += emission.data.count(0)
            self.digest.update(emission.data)
            yield emission
            if number % MOTION_HZ == 0:
                self.let_the_recorder_catch_up()

    def let_the_recorder_catch_up(self) -> None:
        if self.recorder is not None:
            self.recorder.flush()


def resident_mb() -> float:
    """Return the resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def watch(minutes: float, folder: Path, *, traced: bool) -> dict[str, Any]:
    """Run a session, and return its samples of memory, its processor time and its counts."""
    clock, sent = AutojumpClock(), Sent()
    source = SimulatedSource(
        SimulatedAddress("invented", seed=0),
        clock=clock,
        # A second more, so that the last sample is taken while the session still runs.
        emissions=sent.counting(reads(minutes * 60 + 1, motion_hz=MOTION_HZ)),
    )
    return watch_source(source, clock, sent, folder, memory_mb=traced_mb if traced else resident_mb)


def traced_mb() -> float:
    """Return what Python has allocated."""
    return tracemalloc.get_traced_memory()[0] / 1e6


def watch_source(
    source: Source,
    clock: AutojumpClock,
    sent: Sent,
    folder: Path,
    *,
    memory_mb: Callable[[], float],
    sampled: Callable[[Path], None] = lambda path: None,
) -> dict[str, Any]:
    """Watch a source to its end, recorder on; return memory, processor time and counts.

    Args:
        source: What is watched.
        clock: Its clock.
        sent: Counts what it sends.
        folder: Of the recording.
        memory_mb: Tells the memory in use.
        sampled: Called with the growing file at each sample of the memory.
    """
    telemetry = TimedTelemetry(PROFILE, table=TABLE)

    def start_recorder() -> Recorder:
        sent.recorder = Recorder(
            folder,
            facts={},
            started=STARTED,
            software_version="benchmark",
            now_s=clock.now_s,
        )
        return sent.recorder

    station = Station(
        source,
        clock=clock,
        telemetry=telemetry,
        keeper=KEEPER,
        start_recorder=start_recorder,
        listeners=[Watcher()],
    )
    samples: list[tuple[float, float]] = []

    async def sample() -> None:
        while True:
            # What waits to be written is no growth, but it would make the figures jump.
            sent.let_the_recorder_catch_up()
            if path := station.session_path():
                sampled(Path(path))
            samples.append((len(samples) * SAMPLE_S / 60, memory_mb()))
            await clock.sleep(SAMPLE_S)

    async def session() -> None:
        sampling = asyncio.create_task(sample())
        await station.run()
        sampling.cancel()

    began = time.perf_counter(), time.process_time(), time.thread_time()
    asyncio.run(clock.run(session()))
    wall_s, process_s, main_s = (
        now - then
        for now, then in zip(
            (time.perf_counter(), time.process_time(), time.thread_time()), began, strict=True
        )
    )
    path = station.session_path()
    if path is None or station.record_state.trouble:
        raise RuntimeError(f"nothing was recorded: {station.record_state.trouble}")
    recorded = open_session(Path(path)).columns().data
    return {
        "samples": samples,
        "wall_s": wall_s,
        "core_cpu_s": telemetry.cpu_s,
        "recorder_cpu_s": process_s - main_s,
        "rest_cpu_s": main_s - telemetry.cpu_s,
        "frames_sent": sent.frames,
        "frames_decoded": telemetry.state.loss.frames,
        "frames_recorded": recorded.count(0),
        "recorded_as_sent": blake2b(recorded).digest() == sent.digest.digest(),
        "reboots": telemetry.state.reboots,
        "lost": telemetry.state.loss.lost,
        "rejected": telemetry.state.source.rejected,
        "path": path,
    }


def in_a_process(minutes: float, *, traced: bool) -> dict[str, Any]:
    """Return what `watch` gives in a fresh interpreter."""
    with TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "tests.benchmarks", "hour", "--child", folder]
        command += ["--minutes", str(minutes)] + ["--traced"] * traced
        finished = subprocess.run(command, check=True, stdout=subprocess.PIPE)
    found: dict[str, Any] = json.loads(finished.stdout)
    return found


def growth_mb(samples: list[list[float]]) -> float | None:
    """Return how much memory grew after it had settled; None where the session was too short."""
    settled = [memory for minute, memory in samples if minute * 60 >= SETTLED_S]
    return settled[-1] - settled[0] if len(settled) > 1 else None


def run(minutes: float) -> dict[str, Any]:
    """Return memory over time, processor time per hour of session, and the counts."""
    plain, traced = (in_a_process(minutes, traced=traced) for traced in (False, True))
    per_hour = 60 / minutes
    return {
        "minutes": minutes,
        "resident_mb": plain["samples"],
        "traced_mb": traced["samples"],
        "resident_growth_mb": growth_mb(plain["samples"]),
        "traced_growth_mb": growth_mb(traced["samples"]),
        "wall_s": plain["wall_s"],
        "core_cpu_s_per_hour": plain["core_cpu_s"] * per_hour,
        "recorder_cpu_s_per_hour": plain["recorder_cpu_s"] * per_hour,
        "rest_cpu_s_per_hour": plain["rest_cpu_s"] * per_hour,
        "frames_sent": plain["frames_sent"],
        "frames_decoded": plain["frames_decoded"],
        "frames_recorded": plain["frames_recorded"],
        "nothing_missing": all(
            each["recorded_as_sent"] and each["frames_sent"] == each["frames_decoded"]
            for each in (plain, traced)
        ),
    }


def targets(found: dict[str, Any]) -> list[Row]:
    """Return what was to be reached."""
    grown_mb, whole = found["resident_growth_mb"] or 0.0, bool(found["nothing_missing"])
    work = f"{found['minutes']:g} min of live running"
    return [
        Row(f"{work}, memory", f"{grown_mb:+.1f} MB", "flat", grown_mb < GROWTH_MB),
        Row(f"{work}, frames", "all" if whole else "some missing", "all", whole),
    ]


def main(argv: list[str]) -> int:
    """Print how memory goes over an hour, what it costs, and whether all was recorded."""
    parser = argparse.ArgumentParser(prog="hour", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--minutes", type=float, default=60.0, help="length of the session")
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--traced", action="store_true", help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.child:
        if options.traced:
            tracemalloc.start()
        print(json.dumps(watch(options.minutes, options.child, traced=options.traced)))
        return 0
    found = run(options.minutes)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"live session of {found['minutes']:g} min, motion at {MOTION_HZ} Hz, recorded; ", end="")
    print(f"run in {found['wall_s']:.0f} s")
    print("  minute   resident MB   allocated by Python MB")
    pairs = zip(found["resident_mb"], found["traced_mb"], strict=True)
    for (minute, resident), (_, traced) in pairs:
        print(f"  {minute:6.0f}   {resident:11.1f}   {traced:11.2f}")
    if found["resident_growth_mb"] is not None:
        grown, grown_traced = found["resident_growth_mb"], found["traced_growth_mb"]
        print(f"  growth after {SETTLED_S / 60:.0f} min:  {grown:+.1f} MB, ", end="")
        print(f"{grown_traced:+.2f} MB        (target: flat)")
    print("  processor time per hour of session")
    for part, name in (
        ("core", "core"),
        ("recorder", "recorder"),
        ("rest", "this benchmark's car and clock, event loop"),
    ):
        cpu_s = found[f"{part}_cpu_s_per_hour"]
        print(f"    {cpu_s:6.1f} s  {cpu_s / 3600:7.2%} of a core  {name}")
    print(f"  frames sent {found['frames_sent']:,}, decoded {found['frames_decoded']:,}, ", end="")
    print(f"recorded {found['frames_recorded']:,}: ", end="")
    print("nothing missing" if found["nothing_missing"] else "FRAMES ARE MISSING")
    return 0 if found["nothing_missing"] else 1
