"""`groundstation simulate`: a simulated car into a file, or streamed to another program."""

from __future__ import annotations

import argparse
from pathlib import Path

from groundstation.cli.options import add_settings_options, choose, duration
from groundstation.errors import UsageError

SUMMARY = "write or stream a simulated car (invented)"
EXAMPLES = (
    ("groundstation simulate --list", "what there is"),
    (
        "groundstation simulate --scenario range_edge --seed 7 --out edge.session",
        "a session file, to replay or report",
    ),
    (
        "groundstation simulate --scenario demo --stream pty",
        "a car on a serial port, to try `live` with",
    ),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--list", action="store_true", help="list the scenarios")
    parser.add_argument("--scenario", metavar="NAME", help="which one")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="another car, other luck")
    parser.add_argument(
        "--for", dest="for_s", type=duration, metavar="SECONDS", help="stop after this long"
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="a session file where the name ends with .session, else the raw bytes",
    )
    where.add_argument(
        "--stream",
        metavar="WHERE",
        help="tcp://[HOST]:PORT waits for one reader after another, udp://HOST:PORT sends, "
        "pty opens a pseudo-terminal and prints its name; in real time",
    )
    parser.add_argument("--force", action="store_true", help="write over a file that is there")
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.simulator.scenarios import SCENARIOS, scenario_named

    if arguments.list:
        width = max(map(len, SCENARIOS))
        for name, scenario in SCENARIOS.items():
            print(f"{name:<{width}}  {scenario.summary}")
        return 0
    if arguments.scenario is None or not (arguments.out or arguments.stream):
        raise UsageError("simulate needs --scenario with --out or --stream, or --list")
    scenario_named(arguments.scenario)
    if arguments.stream:
        from groundstation.cli.streaming import stream

        return stream(arguments.stream, arguments.scenario, arguments.seed, arguments.for_s)
    out = arguments.out.expanduser()
    if out.exists() and not arguments.force:
        raise UsageError(f"{out} is there already", "give another name, or --force")
    from groundstation.cli.simulating import write_simulation

    print(write_simulation(arguments, choose(arguments), out))
    return 0
