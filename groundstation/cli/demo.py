"""`groundstation demo`: the whole program with a simulated car, no hardware."""

from __future__ import annotations

import argparse

from groundstation.cli.options import (
    add_output_options,
    add_recording_options,
    add_settings_options,
    add_vehicle_options,
    add_watch_options,
    choose,
    duration,
)
from groundstation.clock import MonotonicClock

SUMMARY = "watch a simulated car (invented, no hardware needed)"
EXAMPLES = (
    ("groundstation demo", "an invented car, recorded like any other"),
    ("groundstation demo --scenario range_edge --seed 7", "it drives to where LIFT must be said"),
    ("groundstation demo --plain --for 30", "half a minute without a screen"),
)

SCENARIO, SEED = "demo", 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "--scenario", default=SCENARIO, metavar="NAME", help="see `simulate --list`"
    )
    parser.add_argument(
        "--seed", type=int, default=SEED, metavar="N", help="another car, other luck"
    )
    parser.add_argument(
        "--for", dest="for_s", type=duration, metavar="SECONDS", help="stop after this long"
    )
    add_output_options(parser)
    add_vehicle_options(parser)
    add_watch_options(parser)
    add_recording_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.watching import watch
    from groundstation.simulator.scenarios import scenario_named
    from groundstation.sources.base import open_source
    from groundstation.sources.pseudo_terminal import (
        PseudoTerminal,
        car_at,
        has_pseudo_terminals,
    )
    from groundstation.sources.simulated import emissions_of

    choices, clock = choose(arguments), MonotonicClock()
    scenario = scenario_named(arguments.scenario)
    arguments.station = arguments.station or scenario.course.driver_deg
    if not has_pseudo_terminals():
        address = f"simulated:{arguments.scenario}?seed={arguments.seed}"
        return watch(open_source(address, clock=clock), arguments, choices, clock)
    # Where there are pseudo-terminals the demo takes the whole way, serial port and all.
    with PseudoTerminal() as terminal:
        car = emissions_of(scenario, seed=arguments.seed, table=choices.table)
        source = open_source(f"serial:{terminal.path}", clock=clock)
        beside = car_at(terminal, car, clock=clock)
        return watch(source, arguments, choices, clock, beside=beside)
