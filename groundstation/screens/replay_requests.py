"""What keys ask of a replay."""

from __future__ import annotations

import re
from collections.abc import Callable
from math import inf

from groundstation.desk import ReplayControl

SKIP_S = 5.0
SPEEDS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, inf)
BACK_SLACK_S = 1.0
"""While a replay runs, going back within this of a bookmark means the one before it."""

_TIME = re.compile(r"(?:(?:(\d{1,3}):)?(\d{1,4}):)?(\d{1,6}(?:\.\d*)?)")


def toggle_pause(replay: ReplayControl) -> None:
    """Hold, or go on; from the end, begin again."""
    if replay.state.ended:
        replay.seek(replay.state.start_s)
        replay.pause(False)
        return
    replay.pause(not replay.state.paused)


def skip_back(replay: ReplayControl) -> None:
    """Go five seconds back."""
    replay.seek(replay.state.position_s - SKIP_S)


def skip_forward(replay: ReplayControl) -> None:
    """Go five seconds forward."""
    replay.seek(replay.state.position_s + SKIP_S)


def step_back(replay: ReplayControl) -> None:
    """Hold and go one step back."""
    replay.step(-1)


def step_forward(replay: ReplayControl) -> None:
    """Hold and go one step forward."""
    replay.step(1)


def slower(replay: ReplayControl) -> None:
    """Take the next lower speed."""
    replay.set_speed(max((s for s in SPEEDS if s < replay.state.speed), default=SPEEDS[0]))


def faster(replay: ReplayControl) -> None:
    """Take the next higher speed."""
    replay.set_speed(min((s for s in SPEEDS if s > replay.state.speed), default=SPEEDS[-1]))


def next_bookmark(replay: ReplayControl) -> None:
    """Go to the next bookmark, if there is one."""
    here_s = replay.state.position_s
    ahead = [mark.at_s for mark in replay.bookmarks if mark.at_s > here_s + 1e-6]
    if ahead:
        replay.seek(min(ahead))


def previous_bookmark(replay: ReplayControl) -> None:
    """Go to the bookmark before, or to the beginning."""
    state = replay.state
    slack_s = 1e-6 if state.paused else BACK_SLACK_S
    behind = [mark.at_s for mark in replay.bookmarks if mark.at_s < state.position_s - slack_s]
    replay.seek(max(behind, default=state.start_s))


REQUESTS: dict[str, Callable[[ReplayControl], None]] = {
    request.__name__: request
    for request in (
        toggle_pause,
        skip_back,
        skip_forward,
        step_back,
        step_forward,
        slower,
        faster,
        next_bookmark,
        previous_bookmark,
    )
}
"""By name, for key bindings."""


def parse_time(typed: str) -> float | None:
    """Return the seconds that `83`, `1:23`, `1:23.4` or `1:02:03` stand for; None for others."""
    found = _TIME.fullmatch(typed.strip())
    if found is None:
        return None
    hours, minutes, seconds = found.groups()
    return 3600.0 * int(hours or 0) + 60.0 * int(minutes or 0) + float(seconds)
