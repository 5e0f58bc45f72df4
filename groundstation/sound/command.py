"""The user's own command at each change of level: a light, a horn, a spoken word.

Owns the running of it. No shell is asked and nothing from outside gets into its arguments: they are
the words of the settings, as they stand. What happened is in its environment, where the unknown
is left out:

    GROUNDSTATION_LEVEL GROUNDSTATION_PREVIOUS_LEVEL GROUNDSTATION_REASON
    GROUNDSTATION_MARGIN_DB GROUNDSTATION_STOP_MARGIN_DB GROUNDSTATION_LIFT_IN_S

Rule: nobody waits for a command. At most `RUNNING_AT_ONCE` run, each for `LONGEST_S`.
"""

from __future__ import annotations

import os
import shlex
import subprocess
import threading
from collections.abc import Callable, Mapping

from groundstation.errors import SettingsError
from groundstation.radio.level import Level
from groundstation.vehicle.session_events import LevelChanged
from groundstation.vehicle.snapshot import Snapshot
from groundstation.wording import printable

RUNNING_AT_ONCE = 4
LONGEST_S = 30.0

StartThread = Callable[[Callable[[], None]], None]


def start_thread(job: Callable[[], None]) -> None:
    """Run a job in a thread of its own that does not keep the program alive."""
    threading.Thread(target=job, name="sound command", daemon=True).start()


class LevelCommands:
    """Runs the command of a level when the link gets there."""

    def __init__(
        self, commands: Mapping[Level, str], *, start_thread: StartThread = start_thread
    ) -> None:
        """Take the commands apart.

        Args:
            commands: By level, each a program and its arguments, quoted as for a POSIX shell.
            start_thread: Runs a job beside the session.

        Raises:
            SettingsError: A command cannot be taken apart, or says nothing.
        """
        self._words = {level: words_of(level, command) for level, command in commands.items()}
        self._start_thread = start_thread
        self._running = threading.BoundedSemaphore(RUNNING_AT_ONCE)
        self.trouble = ""
        """What went wrong last, one plain sentence; empty while nothing did."""

    def run(self, change: LevelChanged, snapshot: Snapshot) -> None:
        """Run the command of the new level, if it has one, and return at once."""
        words = self._words.get(change.level)
        if words is None:
            return
        if not self._running.acquire(blocking=False):
            self.trouble = (
                f"the command for {change.level} was left out: {RUNNING_AT_ONCE} still run"
            )
            return
        environment = {**os.environ, **facts(change, snapshot)}

        def job() -> None:
            try:
                self._run_and_wait(change.level, words, environment)
            finally:
                self._running.release()

        self._start_thread(job)

    def _run_and_wait(self, level: Level, words: list[str], environment: Mapping[str, str]) -> None:
        try:
            ended = subprocess.run(
                words,
                env=environment,
                # The terminal belongs to the screen.
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=LONGEST_S,
                check=False,
            )
        except subprocess.TimeoutExpired:
            self.trouble = f"the command for {level} was ended after {LONGEST_S:g} s"
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            self.trouble = f"cannot run the command for {level}, {words[0]}: {reason}"
        else:
            if ended.returncode != 0:
                self.trouble = f"the command for {level} ended with code {ended.returncode}"


def words_of(level: Level, command: str) -> list[str]:
    """Return a command's program and arguments.

    Raises:
        SettingsError: It cannot be taken apart, or says nothing.
    """
    try:
        words = shlex.split(command)
    except ValueError as error:
        raise SettingsError(
            f"the sound command for {level} cannot be read: {str(error).lower()}",
            "quote it as in a POSIX shell; a path with backslashes goes in single quotes",
        ) from error
    if not words:
        raise SettingsError(f"the sound command for {level} is empty")
    return words


def facts(change: LevelChanged, snapshot: Snapshot) -> dict[str, str]:
    """Return what a command is told, as environment variables; the unknown is left out."""
    forecast = snapshot.forecast
    lift_in_s = change.lift_in_s if change.lift_in_s is not None else forecast.lift_in_s
    told = {
        "LEVEL": str(change.level),
        "PREVIOUS_LEVEL": change.previous and str(change.previous),
        "REASON": printable(change.reason),
        "MARGIN_DB": _figure(snapshot.control.margin_db),
        "STOP_MARGIN_DB": _figure(forecast.stop_margin_p05_db),
        "LIFT_IN_S": _figure(lift_in_s),
    }
    return {f"GROUNDSTATION_{name}": text for name, text in told.items() if text is not None}


def _figure(value: float | None) -> str | None:
    return None if value is None else f"{value:.1f}"
