"""The hard day: eight hours at 200 Hz of everything that goes wrong with a telemetry link.

Reads are lost, garbage comes between frames, the car is switched off and on, its clock wraps, a
second car sends on the same frequency, the cable is pulled and the port comes back under another
name. Nobody waits: the clock jumps. Three questions: does memory stay flat, is all that arrived
recorded and decoded, and does the growing file open at any moment?

Oracle of the decoding: the batch decoder over all that was recorded. Baseline of the memory is the
figure at ten minutes.
"""

from __future__ import annotations

import argparse
import json
import random
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.recording.decoded import decode_tape
from groundstation.recording.reader import open_session
from groundstation.sources.live import LiveSource
from protocol import Sender
from tests.autojump import AutojumpClock
from tests.benchmarks._invented_session import TABLE, lap
from tests.benchmarks._targets import Row
from tests.benchmarks.hour import GROWTH_MB, Sent, growth_mb, resident_mb, watch_source

MOTION_HZ = 200
SAMPLE_SLACK_S = 1.0
LOST_READS = 0.01
GARBAGE = 0.002
SECOND_CAR = 0.1
"""Shares of reads that are lost, that have garbage before them, that a second car sends into."""
REBOOT_EVERY_S = 1500.0
PULLED_EVERY_S = 2400.0
AWAY_S = 3.0
"""How long a pulled cable stays away."""

QUICK = ("--hours", "0.5")


def hard_day(seconds: float, *, seed: int = 1) -> Iterator[Inbound]:
    """Yield what happens, in order of time."""
    chance, slots = random.Random(seed), lap(MOTION_HZ)
    car, other = Sender(vehicle=1), Sender(vehicle=2)
    booted_s, away_until_s, port = 0.0, 0.0, 0
    next_reboot_s, next_pull_s = REBOOT_EVERY_S, PULLED_EVERY_S
    yield LinkChanged(0.0, LinkState.CONNECTED, "/dev/ttyUSB0 opened")
    for number in range(round(seconds * MOTION_HZ)):
        at_s = number / MOTION_HZ
        if at_s >= next_reboot_s:
            car, booted_s = Sender(vehicle=1), at_s
            next_reboot_s += REBOOT_EVERY_S
        if at_s >= next_pull_s:
            yield LinkChanged(at_s, LinkState.LOST, f"/dev/ttyUSB{port} was unplugged")
            away_until_s, port = at_s + AWAY_S, 1 - port
            next_pull_s += PULLED_EVERY_S
        clock_us = round((at_s - booted_s) * 1e6)
        frames = slots[number % len(slots)]
        data = b"".join([car.encode(kind, values, clock_us) for kind, values in frames])
        if at_s < away_until_s:
            continue
        if away_until_s:
            yield LinkChanged(at_s, LinkState.CONNECTED, f"/dev/ttyUSB{port} opened")
            away_until_s = 0.0
        if chance.random() < LOST_READS:
            continue
        if chance.random() < SECOND_CAR:
            data += other.encode("motion", frames[0][1], number * 5000)
        if chance.random() < GARBAGE:
            data = chance.randbytes(chance.randint(1, 200)) + data
        yield BytesReceived(at_s, data)


class HardDaySource(LiveSource):
    """Hands over what happens, when its time has come."""

    def __init__(self, clock: AutojumpClock, happens: Iterator[Inbound], sent: Sent) -> None:
        super().__init__("a hard day", clock=clock)
        self._happens, self._sent = happens, sent

    async def _pump(self) -> None:
        start_s = self._clock.now_s()
        for number, inbound in enumerate(self._happens):
            wait_s = start_s + inbound.at_s - self._clock.now_s()
            if wait_s > 0:
                await self._clock.sleep(wait_s)
            if isinstance(inbound, LinkChanged):
                now_s = self._clock.now_s()
                await self._handover.put(LinkChanged(now_s, inbound.state, inbound.detail))
                continue
            assert isinstance(inbound, BytesReceived)
            self._sent.frames += inbound.data.count(0)
            self._sent.digest.update(inbound.data)
            await self._handover.put(BytesReceived(self._clock.now_s(), inbound.data))
            if number % MOTION_HZ == 0:
                self._sent.let_the_recorder_catch_up()


def run(hours: float) -> dict[str, Any]:
    """Return memory over time, the counts, and how often the growing file was opened."""
    clock, sent, opened = AutojumpClock(), Sent(), list[int]()

    def open_it(path: Path) -> None:
        # Opened and read to its end by a stranger, while it grows.
        session = open_session(path)
        newest_s = session.end_at_s
        opened.append(sum(1 for _ in session.inbound(newest_s - 10.0)))

    with TemporaryDirectory() as folder:
        seconds = hours * 3600 + SAMPLE_SLACK_S
        source = HardDaySource(clock, hard_day(seconds), sent)
        found = watch_source(
            source, clock, sent, Path(folder), memory_mb=resident_mb, sampled=open_it
        )
        batch = decode_tape(open_session(Path(found.pop("path"))), TABLE)
        vehicle = batch.first_vehicle
        assert vehicle is not None
        heard = sum(len(batch.times(kind.name, vehicle).at_s) for kind in TABLE.kinds)
        found["frames_batch"] = heard
        found["rejected_batch"] = sum(batch.rejected.values())
        found["reboots_batch"] = batch.reboots[vehicle]
    found["opened_while_growing"] = sum(each > 0 for each in opened)
    found["samples_taken"] = len(opened)
    found["growth_mb"] = growth_mb([list(each) for each in found["samples"]])
    found["whole"] = (
        found["recorded_as_sent"]
        and found["frames_decoded"] == heard
        and found["reboots"] == found["reboots_batch"]
        and found["opened_while_growing"] == found["samples_taken"]
    )
    return found | {"hours": hours}


def targets(found: dict[str, Any]) -> list[Row]:
    """Return what was to be reached."""
    grown_mb, whole = found["growth_mb"] or 0.0, bool(found["whole"])
    work = f"{found['hours']:g} h of a hard day"
    return [
        Row(f"{work}, memory", f"{grown_mb:+.1f} MB", "flat", grown_mb < GROWTH_MB),
        Row(f"{work}, frames", "all" if whole else "some missing", "all", whole),
    ]


def main(argv: list[str]) -> int:
    """Print what the hard day came to."""
    parser = argparse.ArgumentParser(prog="soak", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--hours", type=float, default=8.0, help="length of the day")
    options = parser.parse_args(argv)
    found = run(options.hours)
    if options.json:
        print(json.dumps(found))
        return 0 if found["whole"] else 1
    print(f"{found['hours']:g} h at {MOTION_HZ} Hz, run in {found['wall_s']:.0f} s")
    every = max(len(found["samples"]) // 12, 1)
    print("  resident MB by minute: ", end="")
    print(", ".join(f"{minute:.0f}: {each:.1f}" for minute, each in found["samples"][::every]))
    if found["growth_mb"] is not None:
        print(f"  growth after 10 min {found['growth_mb']:+.1f} MB  (target: flat)")
    print(f"  decoded {found['frames_decoded']:,} frames of the car, the batch decoder ", end="")
    print(f"{found['frames_batch']:,}; lost {found['lost']:,} by their numbers, ", end="")
    print(f"{found['rejected']:,} rejected, {found['reboots']} reboots")
    print(f"  recorded as it came: {'yes' if found['recorded_as_sent'] else 'NO'}; ", end="")
    print(f"opened {found['opened_while_growing']} of {found['samples_taken']} times while growing")
    return 0 if found["whole"] else 1
