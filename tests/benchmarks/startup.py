"""From exec to the first paint of the live screen, and to the end of `--help`.

Baseline, in turn with them in the same run: an interpreter that only imports `textual.app`. The
first paint is the arrival of the first mark that can be seen, behind the switch to the alternate
screen. Bytecode is compiled beforehand, into a folder of the benchmark's own, as an installed
program has it.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from groundstation.sources.pseudo_terminal import PseudoTerminal
from tests.benchmarks._targets import Row
from tests.benchmarks._terminal import COLUMNS, ROWS, Terminal

ALTERNATE_SCREEN = b"\x1b[?1049h"
_ESCAPES = re.compile(rb"\x1b\[[0-?]*[ -/]*[@-~]|\x1b[PX^_\]].*?(?:\x1b\\|\x07)|\x1b[^\[PX^_\]]")

LONGEST_S = 20.0
GROUNDSTATION = (sys.executable, "-m", "groundstation")
IMPORT_TEXTUAL = (sys.executable, "-c", "import textual.app")

QUICK = ("--rounds", "5")


def has_content(written: bytes) -> bool:
    """Return whether something can be seen on the alternate screen."""
    _, switch, painted = written.partition(ALTERNATE_SCREEN)
    return bool(switch) and bool(_ESCAPES.sub(b"", painted).strip())


def first_paint_s(words: Sequence[str], folder: Path, environment: dict[str, str]) -> float:
    """Return the time from exec to the first content of the screen that a command shows."""
    command = [*GROUNDSTATION, *words]
    command += ["--settings", str(folder / "settings.toml"), "--sessions", str(folder)]
    written = b""
    with Terminal(command, environment) as terminal:
        while True:
            piece, seen_s = terminal.read(LONGEST_S)
            written += piece
            if has_content(written):
                return seen_s - terminal.began_s
            if not piece:
                raise RuntimeError("nothing was painted")


def process_s(command: Sequence[str], environment: dict[str, str]) -> float:
    """Return how long a command runs."""
    began_s = perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=environment)
    return perf_counter() - began_s


def run(rounds: int) -> dict[str, dict[str, float]]:
    """Return, of each start, the median and the best in milliseconds, and the median's ratio."""
    with TemporaryDirectory() as name, PseudoTerminal() as port:
        folder = Path(name)
        (folder / "settings.toml").touch()
        environment = dict(os.environ) | {"PYTHONPYCACHEPREFIX": str(folder / "bytecode")}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        starts: dict[str, Callable[[], float]] = {
            "demo": lambda: first_paint_s(["demo"], folder, environment),
            "live serial:PORT": lambda: first_paint_s(
                ["live", f"serial:{port.path}"], folder, environment
            ),
            "--help": lambda: process_s([*GROUNDSTATION, "--help"], environment),
            "import textual.app": lambda: process_s(IMPORT_TEXTUAL, environment),
        }
        for compiling in starts.values():
            compiling()
        rows = [[start() for start in starts.values()] for _ in range(rounds)]
    times_ms = {
        name: [time_s * 1e3 for time_s in column]
        for name, column in zip(starts, zip(*rows, strict=True), strict=True)
    }
    baseline_ms = median(times_ms["import textual.app"])
    return {
        name: {
            "median_ms": median(column),
            "best_ms": min(column),
            "ratio": median(column) / baseline_ms,
        }
        for name, column in times_ms.items()
    }


def targets(found: dict[str, dict[str, float]]) -> list[Row]:
    """Return what was to be reached."""
    return [
        Row(
            f"{name}, to the first paint",
            f"{found[name]['median_ms']:.0f} ms",
            "< 300 ms",
            found[name]["median_ms"] < 300,
            "import textual.app",
            found[name]["ratio"],
        )
        for name in ("demo", "live serial:PORT")
    ]


def main(argv: list[str]) -> int:
    """Print how long the start takes, beside the baseline."""
    parser = argparse.ArgumentParser(prog="startup", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--rounds", type=int, default=15, help="starts of each")
    options = parser.parse_args(argv)
    found = run(options.rounds)
    if options.json:
        print(json.dumps(found))
        return 0
    print(
        f"from exec to the first paint at {COLUMNS}x{ROWS}, or to the end; {options.rounds} starts"
    )
    print("                        median ms   best ms   ratio      (target: paint < 300 ms)")
    for name, row in found.items():
        print(f"  {name:20}  {row['median_ms']:9.0f} {row['best_ms']:9.0f}   {row['ratio']:5.2f}")
    return 0
