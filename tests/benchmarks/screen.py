"""What the live screen costs: share of a core and bytes to the terminal at 120x40, 20 Hz.

Baseline, in the same run on the same desk: the same screen whose five strip charts are
`textual-plotext` plots, drawn as often. Each runs in a process of its own behind a pseudo-terminal.
The desk is made up; every figure changes at every tick.
"""

from __future__ import annotations

import argparse
import asyncio
import fcntl
import json
import os
import pty
import select
import struct
import subprocess
import sys
import tempfile
import termios
import time
from dataclasses import replace
from pathlib import Path
from typing import TypedDict

from groundstation.screens.app import LiveApp
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import HeldPeaks, Snapshot
from groundstation.vehicle.traces import TICK_S
from tests.benchmarks._targets import Row
from tests.groundstation.screens.desks import EVENTS, STANDARD, FakeDesk, driven, readings, running
from tests.groundstation.screens.desks import swings as swings_at

COLUMNS, ROWS = 120, 40
SETTLE_S = 2.0
FRAMES_A_TICK = 5
FRAME_S = TICK_S / FRAMES_A_TICK
"""A new snapshot comes at 100 Hz, as a motion frame does."""

QUICK = ("--seconds", "5")


class Window(TypedDict):
    """What the child measured, and when, on the system's monotonic clock."""

    began_s: float
    ended_s: float
    cpu_s: float


def moving(at_s: float) -> Snapshot:
    """Return a snapshot in which every figure differs from the one a tick before."""
    swung = swings_at(at_s)
    margin_db = swung["margin_db"][0]
    channels = STANDARD | {
        "speed_mps": swung["speed_mps"][1] + at_s % 1,
        "yaw_rate_dps": swung["yaw_rate_dps"][0] * 3,
        "accel_y_g": swung["accel_y_g"][0] * 4,
        "control_rssi_dbm": margin_db - 100,
    }
    now = running()
    return replace(
        now,
        at_s=at_s,
        channels=readings(at_s, **channels),
        peaks=HeldPeaks(swung["accel_z_g"][1] + at_s % 3, -1.0 - at_s % 2, 1.0, 40.0),
        control=replace(now.control, margin_db=margin_db, rssi_dbm=margin_db - 100),
        telemetry=replace(now.telemetry, frames=int(at_s * 100), age_s=at_s % 0.03),
        level_reason=f"margin {margin_db:.1f} dB",
    )


def screen(kind: str, seconds: float, result: Path) -> None:
    """Run one screen for a while and write down what it cost."""
    desk = FakeDesk(moving(75.0), events=EVENTS, traces=driven())

    window = Window(began_s=0.0, ended_s=0.0, cpu_s=0.0)

    async def drive() -> None:
        loop = asyncio.get_running_loop()
        started_s, tick = loop.time(), 0
        while not window["ended_s"]:
            tick += 1
            await asyncio.sleep(max(started_s + tick * FRAME_S - loop.time(), 0.0))
            desk.snapshot = moving(75.0 + tick * FRAME_S)
            if tick % FRAMES_A_TICK == 0:
                desk.traces.add(desk.snapshot.at_s, swings_at(desk.snapshot.at_s))
            now_s = time.monotonic()
            if not window["began_s"] and tick * FRAME_S >= SETTLE_S:
                window["began_s"], window["cpu_s"] = now_s, -time.process_time()
            elif window["began_s"] and now_s - window["began_s"] >= seconds:
                window["ended_s"] = now_s
                window["cpu_s"] += time.process_time()
        app.exit()

    if kind == "ours":
        app = LiveApp(desk, speed_unit=SpeedUnit.KMH, theme="dark", on_start=drive)
    else:
        from tests.benchmarks._plotext_charts import PlotextApp

        app = PlotextApp(desk, speed_unit=SpeedUnit.KMH, theme="dark", on_start=drive)
    app.run()
    result.write_text(json.dumps(window))


def measure(kind: str, seconds: float) -> dict[str, float]:
    """Return core share and bytes a second of one screen."""
    primary, secondary = pty.openpty()
    fcntl.ioctl(secondary, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
    with tempfile.TemporaryDirectory() as folder:
        result = Path(folder) / "window.json"
        command = [sys.executable, "-m", "tests.benchmarks.screen"]
        command += ["--child", kind, "--seconds", str(seconds), "--result", str(result)]
        environment = os.environ | {"TERM": "xterm-256color", "COLORTERM": "truecolor"}
        environment.pop("NO_COLOR", None)
        child = subprocess.Popen(
            command, stdin=secondary, stdout=secondary, stderr=secondary, env=environment
        )
        os.close(secondary)
        arrivals = _read_all(primary, child)
        os.close(primary)
        if child.wait() != 0 or not result.exists():
            raise RuntimeError(f"the {kind} screen did not finish")
        window: Window = json.loads(result.read_text())
    length_s = window["ended_s"] - window["began_s"]
    sent = sum(size for at_s, size in arrivals if window["began_s"] < at_s <= window["ended_s"])
    return {"core_share": window["cpu_s"] / length_s, "bytes_per_s": sent / length_s}


def _read_all(primary: int, child: subprocess.Popen[bytes]) -> list[tuple[float, int]]:
    arrivals = []
    while True:
        if select.select([primary], [], [], 0.2)[0]:
            try:
                data = os.read(primary, 65536)
            except OSError:  # Linux says so when the other end is closed
                return arrivals
            if not data:
                return arrivals
            arrivals.append((time.monotonic(), len(data)))
        elif child.poll() is not None:
            return arrivals


def run(seconds: float) -> dict[str, float]:
    """Return both measurements and their ratio."""
    ours = measure("ours", seconds)
    baseline = measure("plotext", seconds)
    return {
        "core_share": ours["core_share"],
        "bytes_per_s": ours["bytes_per_s"],
        "plotext_core_share": baseline["core_share"],
        "plotext_bytes_per_s": baseline["bytes_per_s"],
        "core_share_ratio": ours["core_share"] / baseline["core_share"],
    }


def targets(found: dict[str, float]) -> list[Row]:
    """Return what was to be reached."""
    share, ratio, bytes_per_s = (
        found[name] for name in ("core_share", "core_share_ratio", "bytes_per_s")
    )
    met = share < 0.25 and ratio <= 0.5
    return [
        Row(
            "whole live screen, 20 Hz",
            f"{share:.1%} of a core",
            "< 25 %, <= 0.5 times",
            met,
            "charts of textual-plotext",
            ratio,
        ),
        Row(
            "the same, bytes to the terminal",
            f"{bytes_per_s / 1000:.0f} kB/s",
            "< 250 kB/s",
            bytes_per_s < 250e3,
            "charts of textual-plotext",
            bytes_per_s / found["plotext_bytes_per_s"],
        ),
    ]


def main(argv: list[str]) -> int:
    """Print what the live screen costs, beside the baseline."""
    parser = argparse.ArgumentParser(prog="screen", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--seconds", type=float, default=10.0, help="length of each measurement")
    parser.add_argument("--child", choices=("ours", "plotext"), help=argparse.SUPPRESS)
    parser.add_argument("--result", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args(argv)
    if options.child:
        screen(options.child, options.seconds, options.result)
        return 0
    found = run(options.seconds)
    if options.json:
        print(json.dumps(found))
        return 0
    print(f"live screen, {COLUMNS}x{ROWS}, {1 / TICK_S:.0f} Hz")
    print(f"  ours              {found['core_share']:6.1%} of a core  (target < 25 %)")
    print(f"                    {found['bytes_per_s'] / 1000:6.0f} kB/s       (target < 250)")
    print(f"  textual-plotext   {found['plotext_core_share']:6.1%} of a core")
    print(f"                    {found['plotext_bytes_per_s'] / 1000:6.0f} kB/s")
    print(f"  ratio             {found['core_share_ratio']:6.2f}            (target <= 0.5)")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
