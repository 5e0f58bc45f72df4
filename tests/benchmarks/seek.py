"""How long a one-hour session takes to open, and to go to any moment of it.

Baseline, in the same run on the same file: the same moments reached by running the core from the
beginning. A moment must show the same snapshot on both ways, or the benchmark fails. Every seek is
the first request to a player that has just been opened.
"""

from __future__ import annotations

import argparse
import json
import random
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from groundstation.clock import MonotonicClock
from groundstation.player import Player
from groundstation.recording.reader import open_session
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from groundstation.vehicle.traces import TICK_S
from tests.benchmarks._invented_session import KEEPER, PROFILE, TABLE, frames_in, write_session
from tests.benchmarks._targets import Row

MOMENTS = 20
SEED = 7

QUICK = ("--minutes", "10")


class Reached:
    """A listener that notes when the core got to some ticks, and what it showed there."""

    def __init__(self, ticks: set[int]) -> None:
        self._ticks = ticks
        self._began_s = perf_counter()
        self.after_s: dict[int, float] = {}
        self.snapshots: dict[int, Snapshot] = {}

    def happened(self, event: SessionEvent) -> None:
        """Take no note of events."""

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        if tick in self._ticks:
            self.after_s[tick] = perf_counter() - self._began_s
            self.snapshots[tick] = telemetry.snapshot()


def open_player(path: Path) -> Player:
    """Return a replay of a session, just opened."""
    return Player(
        open_session(path),
        title=path.name,
        clock=MonotonicClock(),
        profile=PROFILE,
        table=TABLE,
        keeper=KEEPER,
    )


def run_from_the_beginning(path: Path, ticks: set[int]) -> Reached:
    """Return when and with what the core gets to some ticks, run from the beginning."""
    session = open_session(path)
    reached = Reached(ticks)
    timeline = Timeline(Telemetry(PROFILE, table=TABLE), [reached])
    for inbound in session.inbound():
        timeline.accept(inbound)
    timeline.advance(session.end_at_s)
    return reached


def run(minutes: float) -> dict[str, float]:
    """Return the times in milliseconds, and the length of the session."""
    seconds = minutes * 60
    with TemporaryDirectory() as folder:
        path = write_session(Path(folder) / "hour.session", seconds)
        opened_ms = []
        for _ in range(5):
            began_s = perf_counter()
            _ = open_player(path).snapshot
            opened_ms.append((perf_counter() - began_s) * 1e3)
        last = int(open_session(path).end_at_s / TICK_S + 1e-9)
        ticks = [*random.Random(SEED).sample(range(last), MOMENTS), last]
        reached = run_from_the_beginning(path, set(ticks))
        seek_ms = {}
        for tick in ticks:
            player = open_player(path)
            began_s = perf_counter()
            player.seek(tick * TICK_S)
            shown = player.snapshot
            seek_ms[tick] = (perf_counter() - began_s) * 1e3
            if shown != reached.snapshots[tick]:
                raise RuntimeError(f"the seek to tick {tick} shows another state")
        size_mb = path.stat().st_size / 1e6
    somewhere_ms = [seek_ms[tick] for tick in ticks[:-1]]
    baseline_ms = [reached.after_s[tick] * 1e3 for tick in ticks[:-1]]
    return {
        "minutes": minutes,
        "frames": frames_in(seconds),
        "size_mb": size_mb,
        "open_median_ms": median(opened_ms),
        "open_worst_ms": max(opened_ms),
        "seek_median_ms": median(somewhere_ms),
        "seek_worst_ms": max(somewhere_ms),
        "seek_end_ms": seek_ms[last],
        "baseline_median_ms": median(baseline_ms),
        "baseline_worst_ms": max(baseline_ms),
        "baseline_end_ms": reached.after_s[last] * 1e3,
        "median_ratio": median(somewhere_ms) / median(baseline_ms),
    }


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    worst_ms, open_ms = found["seek_worst_ms"], found["open_worst_ms"]
    baseline, ratio = "run from the beginning", found["median_ratio"]
    seek = Row(
        f"seek in {found['minutes']:g} min, worst",
        f"{worst_ms:.0f} ms",
        "< 1000 ms",
        worst_ms < 1000,
        baseline,
        ratio,
    )
    return [Row("open it, worst", f"{open_ms:.0f} ms", "< 1000 ms", open_ms < 1000), seek]


def main(argv: list[str]) -> int:
    """Print how long opening and seeking take, beside the baseline."""
    parser = argparse.ArgumentParser(prog="seek", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--minutes", type=float, default=60.0, help="length of the session")
    options = parser.parse_args(argv)
    found = run(options.minutes)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"session of {found['minutes']:g} min, {found['frames']:,} frames, ", end="")
    print(f"{found['size_mb']:.1f} MB; times in ms            (target: all well under 1000)")
    print("                              median     worst")
    for way, name in (
        ("open", "open"),
        ("seek", f"seek, {MOMENTS} random moments"),
        ("baseline", "run from the beginning"),
    ):
        print(f"  {name:24}  {found[f'{way}_median_ms']:8.1f}  {found[f'{way}_worst_ms']:8.1f}")
    print(f"  seek to the end           {found['seek_end_ms']:8.1f}")
    print(f"  run to the end            {found['baseline_end_ms']:8.1f}")
    print(f"  ratio of the medians      {found['median_ratio']:8.4f}")
    return 0
