"""`groundstation replay SESSION`: a recorded session again, with the same numbers."""

from __future__ import annotations

import argparse

from groundstation.cli.finding import open_recording
from groundstation.cli.options import (
    add_output_options,
    add_settings_options,
    add_vehicle_options,
    choose,
    replay_speed,
)
from groundstation.clock import MonotonicClock

SUMMARY = "watch a recorded session again, at any speed"
EXAMPLES = (
    ("groundstation replay last", "the newest session"),
    ("groundstation replay last --speed 4", "four times as fast"),
    ("groundstation replay last --json --speed max", "every state and event as data"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument(
        "session", help="a session file, a raw capture, part of a session's name, or `last`"
    )
    parser.add_argument(
        "--speed",
        type=replay_speed,
        default=1.0,
        metavar="TIMES",
        help="0.1 to 50 times real time, or `max` for as fast as possible (default 1)",
    )
    add_output_options(parser)
    add_vehicle_options(parser)
    add_settings_options(parser)


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from groundstation.cli.running import lines_for, run_headless, run_screen
    from groundstation.player import Player

    recording = open_recording(arguments, choose(arguments))
    choices, lines = recording.choices, lines_for(arguments, recording.choices)
    player = Player(
        recording.tape,
        title=recording.path.name,
        clock=MonotonicClock(),
        profile=choices.profile,
        table=choices.table,
        keeper=choices.keeper,
        listeners=[lines] if lines else [],
        speed=arguments.speed,
    )
    if lines:
        return run_headless(
            player,
            lines,
            lambda: player.run(to_end=True),
            session_file=lambda: str(recording.path),
        )
    return run_screen(player, choices, player.run)
