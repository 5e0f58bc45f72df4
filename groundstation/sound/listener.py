"""Turns a session into sound: the one listener that joins rhythm, tones, bell and commands.

Owns the order: tones where they can be played, else the bell. Rule: everything returns at once and
nothing raises; sound that fails costs a sentence, never a session.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from groundstation.clock import Clock
from groundstation.radio.level import Level
from groundstation.sound.command import LevelCommands
from groundstation.sound.outputs import Beat, BellOutput, Output
from groundstation.sound.rhythm import PATTERNS, Rhythm
from groundstation.sound.tone_output import ToneOutput, tones_installed
from groundstation.vehicle.session_events import LevelChanged, SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry

APART_S = 0.15
"""Beats closer than this are one: a fast replay, or a machine that catches up, must not rattle."""


class SoundListener:
    """Lets level changes and the countdown to the lift be heard."""

    def __init__(
        self,
        outputs: list[Output],
        *,
        commands: LevelCommands | None,
        clock: Clock,
        trouble: Callable[[str], None],
    ) -> None:
        """Join the parts.

        Args:
            outputs: In order of preference; each beat goes to the first that can sound it.
            commands: Run at level changes, if there are any.
            clock: Of whoever listens, in a replay too.
            trouble: Called from `ticked` with one plain sentence, once for each.
        """
        self._outputs = outputs
        self._commands = commands
        self._clock = clock
        self._trouble = trouble
        self._told: set[str] = set()
        self._changes: list[LevelChanged] = []
        self._rhythm = Rhythm()
        self._heard_at_s: float | None = None

    def happened(self, event: SessionEvent) -> None:
        """Keep a change of level until the tick that knows the figures beside it."""
        if isinstance(event, LevelChanged) and self._commands is not None:
            self._changes.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Sound what is due at a tick, and say what went wrong since the last."""
        snapshot = telemetry.snapshot()
        level, lift_in_s = snapshot.level, snapshot.forecast.lift_in_s
        if level is not None:
            for output in self._outputs:
                output.prepare()
        if self._rhythm.beats(tick, level=level, lift_in_s=lift_in_s):
            assert level is not None
            self._sound(
                Beat(
                    level=level,
                    sounding_s=PATTERNS[level].sounding_s,
                    stop_margin_db=_heard_margin_db(snapshot),
                )
            )
        self._run_commands(snapshot)
        self._tell_troubles()

    def close(self) -> None:
        """Fall silent; waits a moment for what plays the tones. May be called twice."""
        for output in self._outputs:
            output.close()

    def _sound(self, beat: Beat) -> None:
        now_s = self._clock.now_s()
        if self._heard_at_s is not None and now_s - self._heard_at_s < APART_S:
            return
        self._heard_at_s = now_s
        for output in self._outputs:
            if output.sound(beat):
                return

    def _run_commands(self, snapshot: Snapshot) -> None:
        if self._commands is not None:
            for change in self._changes:
                self._commands.run(change, snapshot)
            self._changes.clear()

    def _tell_troubles(self) -> None:
        troubles = [output.trouble for output in self._outputs]
        if self._commands is not None:
            troubles.append(self._commands.trouble)
        for trouble in troubles:
            if trouble and trouble not in self._told:
                self._told.add(trouble)
                self._trouble(trouble)


def build_sound(
    *,
    quiet: bool,
    bell: Callable[[], None],
    clock: Clock,
    trouble: Callable[[str], None],
    command: Mapping[Level, str] | None = None,
    tones: bool = True,
) -> SoundListener | None:
    """Return what makes a session heard, or None where it is to be quiet.

    A replay builds none unless it is asked to.

    Args:
        quiet: Nothing is to be heard or run.
        bell: Rings the terminal's bell once (`outputs.bell_of` for a stream).
        clock: Of whoever listens.
        trouble: Called with one plain sentence where something cannot be heard.
        command: The user's own, by level.
        tones: Play tones where the extra `sound` is installed; False is the bell only.

    Raises:
        SettingsError: A command cannot be taken apart, or says nothing.
    """
    if quiet:
        return None
    outputs: list[Output] = [BellOutput(bell)]
    if tones and tones_installed():
        outputs.insert(0, ToneOutput())
    return SoundListener(
        outputs,
        commands=LevelCommands(command) if command else None,
        clock=clock,
        trouble=trouble,
    )


def _heard_margin_db(snapshot: Snapshot) -> float | None:
    """Return the margin that the pitch follows: at the stop point, else the one of now."""
    forecast = snapshot.forecast
    for margin_db in (forecast.stop_margin_p05_db, forecast.stop_margin_db):
        if margin_db is not None:
            return margin_db
    return snapshot.control.margin_db
