"""What a screen may see of a running session, and the few things it may ask.

Screens read; whoever runs the session (live or replay) keeps these up to date. Only named
requests go the other way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from groundstation.rangecheck.view import CheckView
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.traces import CourseTrace, Traces


@dataclass(frozen=True, slots=True)
class RecordState:
    """Whether every byte is reaching the disk."""

    recording: bool = False
    file_name: str = ""
    trouble: str = ""
    """Why bytes are being lost, one plain sentence with what to do; empty while all is well."""
    lost_bytes: int = 0


@dataclass(frozen=True, slots=True)
class Bookmark:
    """A moment of a recorded session that a replay can go to."""

    at_s: float
    kind: str
    """mark, pass, level, source, vehicle, ..."""
    text: str


@dataclass(frozen=True, slots=True)
class ReplayState:
    """Where a replay stands."""

    position_s: float
    start_s: float
    end_s: float
    speed: float
    """Times real time; infinity for as fast as possible."""
    paused: bool
    ended: bool


class ReplayControl(Protocol):
    """What may be asked of a replay."""

    @property
    def state(self) -> ReplayState:
        """Where the replay stands."""
        ...

    @property
    def bookmarks(self) -> Sequence[Bookmark]:
        """Moments worth going to, in order of time."""
        ...

    def pause(self, paused: bool) -> None:
        """Hold or go on."""
        ...

    def step(self, ticks: int) -> None:
        """Hold, and go forward (or back) by whole ticks."""
        ...

    def seek(self, at_s: float) -> None:
        """Go to a moment of the session clock, clamped to the session."""
        ...

    def set_speed(self, speed: float) -> None:
        """Replay at `speed` times real time: 0.1 to 50, or infinity."""
        ...


class Desk(Protocol):
    """A running session, as a screen sees it."""

    @property
    def title(self) -> str:
        """What is being watched, in a few words: the source, or the session's name."""
        ...

    @property
    def snapshot(self) -> Snapshot:
        """The newest state."""
        ...

    @property
    def events(self) -> Sequence[SessionEvent]:
        """The latest events, oldest first; bounded."""
        ...

    @property
    def traces(self) -> Traces:
        """For strip charts."""
        ...

    @property
    def course(self) -> CourseTrace:
        """The margin over distance, of the pass that runs or the last one."""
        ...

    @property
    def record_state(self) -> RecordState:
        """Whether the session is being recorded."""
        ...

    def range_check(self, snapshot: Snapshot) -> str:
        """Return which range check the car of a snapshot runs under; empty where nobody asked."""
        ...

    @property
    def replay(self) -> ReplayControl | None:
        """None in a live session."""
        ...

    def mark(self, text: str = "") -> None:
        """Mark this moment (live only; a replay ignores it)."""
        ...

    def stand_here(self) -> None:
        """Take the car's newest fix as the driver's position (live only)."""
        ...


class CheckDesk(Protocol):
    """A range check that runs, as its screen sees it."""

    @property
    def title(self) -> str:
        """The source, in a few words."""
        ...

    @property
    def snapshot(self) -> Snapshot:
        """The newest state of the car."""
        ...

    @property
    def record_state(self) -> RecordState:
        """Whether the session is being recorded."""
        ...

    @property
    def check_view(self) -> CheckView:
        """Where the check stands."""
        ...

    @property
    def said(self) -> str:
        """The newest answer, or what the check noticed by itself; one plain sentence."""
        ...

    def tell(self, words: str) -> str:
        """Take plain words of the person: `off`, `on`, `mark 25`, ...; return the answer."""
        ...

    def stand_here(self) -> None:
        """Take the car's newest fix as the driver's position."""
        ...
