"""A recorded session, replayed through the very same core as a live one.

Owns the pace. The order of events and ticks is the recording's own, so the pace, a pause or a seek
changes nothing in the numbers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from groundstation.clock import Clock
from groundstation.desk import Bookmark, RecordState, ReplayState
from groundstation.errors import UsageError
from groundstation.inbound import Inbound
from groundstation.journal import Journal, WithJournal
from groundstation.recording.reader import Tape
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.state import TelemetryState
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Listener, Timeline
from groundstation.vehicle.traces import TICK_S
from groundstation.wording import describe, kind_of
from protocol import Table

SLOWEST, FASTEST = 0.1, 50.0
PACE_S = 0.02
"""How often a paced replay moves on."""

SLICE = 200
"""Events taken at once when replaying as fast as possible, before others get their turn."""

SHOWN_S = 60.0
"""Before the moment that is sought, this much is run for the charts."""

KEPT_EVERY_TICKS = round(30 / TICK_S)


def checked_speed(speed: float) -> float:
    """Return the speed if a replay can run at it.

    Raises:
        UsageError: It is neither from 0.1 to 50 nor infinite.
    """
    if SLOWEST <= speed <= FASTEST or speed == float("inf"):
        return speed
    raise UsageError(f"a replay runs at {SLOWEST:g} to {FASTEST:g} times real time, or at max")


class Player(WithJournal):
    """Replays a tape; to screens it is a desk whose moments can be chosen."""

    record_state = RecordState()

    def __init__(
        self,
        tape: Tape,
        *,
        title: str,
        clock: Clock,
        profile: VehicleProfile,
        table: Table,
        keeper: StateKeeper,
        listeners: Sequence[Listener] = (),
        speed: float = 1.0,
    ) -> None:
        """Open at the beginning.

        Args:
            tape: The recording.
            title: What a screen calls it.
            clock: Paces the replay.
            profile: How the vehicle is watched; with the one of the recording, the same numbers.
            table: The frame table of the recording.
            keeper: Opens the recording's checkpoints.
            listeners: Told what happens, in order; not told of what a seek runs over.
            speed: Times real time, or infinity.
        """
        self.title = title
        self._tape = tape
        self._clock = clock
        self._profile = profile
        self._table = table
        self._keeper = keeper
        self._journal = Journal()
        self._listeners: list[Listener] = [self._journal, self, *listeners]
        self._speed = checked_speed(speed)
        self._paused = False
        self._kept: list[tuple[float, bytes]] = []
        self._bookmarks = [Bookmark(*mark) for mark in tape.events()]
        self._indexed = bool(self._bookmarks)
        self._open(0.0, None)

    @property
    def replay(self) -> Player:
        """Itself: a replay is its own control."""
        return self

    @property
    def bookmarks(self) -> Sequence[Bookmark]:
        """Moments worth going to; in a recording without an index, those passed so far."""
        return self._bookmarks

    @property
    def state(self) -> ReplayState:
        """Where the replay stands."""
        return ReplayState(
            position_s=self._position_s,
            start_s=0.0,
            end_s=self._tape.end_at_s,
            speed=self._speed,
            paused=self._paused,
            ended=self._ended,
        )

    def mark(self, text: str = "") -> None:
        """Do nothing: a recording is not changed by watching it."""

    def stand_here(self) -> None:
        """Do nothing: where the driver stood is in the recording."""

    def pause(self, paused: bool) -> None:
        """Hold or go on."""
        self._paused = paused

    def set_speed(self, speed: float) -> None:
        """Replay at `speed` times real time."""
        self._speed = checked_speed(speed)

    def step(self, ticks: int) -> None:
        """Hold, and go forward or back by whole ticks."""
        self._paused = True
        target_s = (round(self._position_s / TICK_S) + ticks) * TICK_S
        if ticks >= 0:
            self._run_to(target_s)
        else:
            self.seek(target_s)

    def seek(self, at_s: float) -> None:
        """Go to a moment, clamped to the recording."""
        at_s = min(max(at_s, 0.0), self._tape.end_at_s)
        self._open(*self._checkpoint_before(at_s - SHOWN_S))
        self._timeline.listeners = [self._journal, self]
        self._run_to(at_s)
        self._timeline.listeners = list(self._listeners)

    async def run(self, *, to_end: bool = False) -> None:
        """Move on at the chosen pace until cancelled, or to the end of the recording."""
        before_s = self._clock.now_s()
        while not (to_end and self._ended):
            as_fast_as_possible = self._speed == float("inf") and not self._paused
            await self._clock.sleep(0.0 if as_fast_as_possible and not self._ended else PACE_S)
            now_s = self._clock.now_s()
            passed_s, before_s = now_s - before_s, now_s
            if self._paused or self._ended:
                continue
            if as_fast_as_possible:
                self._run_slice()
            else:
                self._run_to(self._position_s + passed_s * self._speed)

    def happened(self, event: SessionEvent) -> None:
        """Bookmark an event of a recording that has no index."""
        if not self._indexed:
            self._index(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Keep the state, so that going back is quick in any recording."""
        at_s = tick * TICK_S
        newest_s = self._kept[-1][0] if self._kept else 0.0
        if tick % KEPT_EVERY_TICKS == 0 and at_s > newest_s:
            self._kept.append((at_s, self._keeper.keep(telemetry.state)))

    def _checkpoint_before(self, at_s: float) -> tuple[float, TelemetryState | None]:
        found = [kept for kept in self._kept if kept[0] <= at_s][-1:]
        if recorded := self._tape.checkpoint_before(at_s):
            found.append(recorded)
        for kept_at_s, kept in sorted(found, reverse=True):
            if state := self._keeper.recall(kept):
                return kept_at_s, state
        return 0.0, None

    def _open(self, at_s: float, state: TelemetryState | None) -> None:
        """Stand at the beginning, or just behind the tick whose state was kept."""
        self._journal.clear()
        next_tick = 0 if state is None else round(at_s / TICK_S) + 1
        self.telemetry = Telemetry(self._profile, table=self._table, state=state)
        self._timeline = Timeline(self.telemetry, self._listeners, next_tick=next_tick)
        self._inbound: Iterator[Inbound] = self._tape.inbound(at_s)
        self._next = next(self._inbound, None)
        self._position_s = at_s
        self._ended = False

    def _run_to(self, target_s: float) -> None:
        target_s = min(target_s, self._tape.end_at_s)
        # What comes at the very moment comes behind its tick: it belongs to the next stretch.
        self._ended = target_s >= self._tape.end_at_s
        while self._next is not None and (self._ended or self._next.at_s < target_s):
            self._take_next(self._next)
        self._timeline.advance(target_s)
        self._position_s = max(target_s, self._position_s)

    def _run_slice(self) -> None:
        for _ in range(SLICE):
            if self._next is None:
                self._run_to(self._tape.end_at_s)
                return
            self._position_s = max(self._next.at_s, self._position_s)
            self._take_next(self._next)

    def _take_next(self, inbound: Inbound) -> None:
        self._timeline.accept(inbound)
        self._next = next(self._inbound, None)

    def _index(self, event: SessionEvent) -> None:
        mark = Bookmark(event.at_s, kind_of(event), describe(event))
        newest_s = self._bookmarks[-1].at_s if self._bookmarks else 0.0
        # A seek runs over the same events again.
        if mark.at_s >= newest_s and mark not in self._bookmarks[-10:]:
            self._bookmarks.append(mark)
