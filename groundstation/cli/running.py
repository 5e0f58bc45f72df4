"""Runs a live session or a replay in the way that was asked for: screen, plain or JSON lines."""

from __future__ import annotations

import argparse
import asyncio
import signal
import sys
from collections.abc import Awaitable, Callable
from contextlib import suppress
from typing import Protocol, TextIO

from groundstation.cli.json_lines import JsonLines
from groundstation.cli.options import Choices
from groundstation.cli.plain_lines import PlainLines
from groundstation.desk import Desk
from groundstation.sound.outputs import bell_of
from groundstation.vehicle.telemetry import Telemetry


class Session(Desk, Protocol):
    """A desk with a core that can be asked for its counters."""

    @property
    def telemetry(self) -> Telemetry:
        """The core."""
        ...


def lines_for(arguments: argparse.Namespace, choices: Choices) -> JsonLines | PlainLines | None:
    """Return the printer that was asked for; None where a screen is to be shown."""
    if arguments.json:
        return JsonLines(choices.table)
    if arguments.plain or not (sys.stdout.isatty() and sys.stdin.isatty()):
        return PlainLines(choices.unit)
    return None


def run_headless(
    session: Session,
    lines: JsonLines | PlainLines,
    job: Callable[[], Awaitable[None]],
    *,
    session_file: Callable[[], str | None],
) -> int:
    """Run a session without a screen until it ends or is interrupted; return the exit code."""
    with suppress(asyncio.CancelledError, KeyboardInterrupt):
        asyncio.run(until_terminated(job))
    lines.ended(session.telemetry, session_file(), session.record_state.trouble)
    return 0


class Bell:
    """Rings the terminal: through a stream, or through the screen once there is one."""

    def __init__(self, stream: TextIO | None) -> None:
        self.ring: Callable[[], None] = bell_of(stream) if stream else lambda: None

    def __call__(self) -> None:
        """Ring once."""
        self.ring()


def run_screen(
    desk: Desk, choices: Choices, job: Callable[[], Awaitable[None]], *, bell: Bell | None = None
) -> int:
    """Run a session under the live screen; return the exit code."""
    from groundstation.screens.app import LiveApp

    app = LiveApp(
        desk,
        speed_unit=choices.unit,
        theme=choices.theme,
        on_start=job,
        limits=choices.profile.limits,
        table=choices.table,
    )
    if bell:
        bell.ring = app.bell
    failure = app.run(mouse=False)  # the terminal's own text selection stays usable
    if failure is not None:
        raise failure
    return 0


async def until_terminated(job: Callable[[], Awaitable[None]]) -> None:
    """Run the job; an interrupt or a polite kill cancels it, so that files are closed."""
    task = asyncio.ensure_future(job())
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with suppress(NotImplementedError):  # Windows
            loop.add_signal_handler(number, task.cancel)
    await task
