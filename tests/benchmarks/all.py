"""Every benchmark that has a target, each in a process of its own, in one table.

The machine's speed drifts: ratios count, and a figure just beyond its target may be another
program's doing. An hour of memory, the hard day and the kills are run only with `--long`.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import subprocess
import sys
from dataclasses import asdict
from importlib import import_module
from typing import cast

from tests.benchmarks._targets import Benchmark, Row, table_of

NAMES = (
    "startup", "screen", "latency", "decode", "live_decode", "one_khz", "session_load", "seek",
    "replay_speed", "warnings", "rangecheck", "analysis", "report",
)  # fmt: skip
LONG = ("hour", "soak", "kill")


def rows_of(name: str, *, quick: bool) -> list[Row]:
    """Run a benchmark and return its rows; one that fails is a target missed."""
    benchmark = cast("Benchmark", import_module(f"tests.benchmarks.{name}"))
    command = [sys.executable, "-m", "tests.benchmarks", name, "--json"]
    command += benchmark.QUICK if quick else ()
    done = subprocess.run(command, stdout=subprocess.PIPE, check=False)
    try:
        found = json.loads(done.stdout)
    except ValueError:
        return [Row(name, "it did not finish", "", met=False)]
    return benchmark.targets(found)


def machine() -> str:
    """Return what was measured on."""
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{os.cpu_count()} cores, {platform.machine()}, {platform.system()}, {python}"


def main(argv: list[str]) -> int:
    """Print one table of all targets; 1 where one is missed."""
    parser = argparse.ArgumentParser(prog="all", description=__doc__)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--quick", action="store_true", help="shorter runs, rougher figures")
    parser.add_argument("--long", action="store_true", help=f"{', '.join(LONG)} too")
    parser.add_argument("names", nargs="*", metavar="NAME", help="only these")
    options = parser.parse_args(argv)
    names = options.names or NAMES + LONG * options.long
    if unknown := set(names) - {*NAMES, *LONG}:
        parser.error(f"no targets for {', '.join(sorted(unknown))}")
    rows = []
    for name in names:
        print(f"{name} ...", file=sys.stderr)
        rows += rows_of(name, quick=options.quick)
    if options.json:
        print(json.dumps({"machine": machine(), "rows": [asdict(row) for row in rows]}))
    else:
        print(machine())
        print(table_of(rows))
    return 0 if all(row.met for row in rows) else 1
