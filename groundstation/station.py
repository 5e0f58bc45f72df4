"""The live session: one source, recorded first, then understood.

Owns the session clock. It starts at the first bytes that arrive, and recording starts with it, so
that nobody has to remember a key. Every event is put in order and recorded before anything looks
into it.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace

from groundstation.clock import Clock
from groundstation.desk import RecordState
from groundstation.inbound import BytesReceived, DriverPlaced, Inbound, MarkMade
from groundstation.indexing import RecordingIndex
from groundstation.journal import Journal, WithJournal
from groundstation.recording.writer import Recorder
from groundstation.sources.base import Source
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.session_events import Noted
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Listener, Timeline
from groundstation.vehicle.traces import TICK_S

HOLD_BACK_S = 0.01
"""A tick waits this long for bytes that were stamped before it but are still being handed over."""

PREROLL = 200
"""Connection events remembered before the first bytes; they open the recording."""


class Station(WithJournal):
    """Runs a source until it ends, is cancelled, or a time is over."""

    replay = None

    def __init__(
        self,
        source: Source,
        *,
        clock: Clock,
        telemetry: Telemetry,
        keeper: StateKeeper,
        start_recorder: Callable[[], Recorder] | None,
        listeners: Sequence[Listener] = (),
        check_words: Callable[[Snapshot], str] | None = None,
    ) -> None:
        """Join the parts.

        Args:
            source: Where bytes come from; closed by `run`.
            clock: The clock that the source stamps with.
            telemetry: What understands the bytes.
            keeper: Makes the checkpoints of the recording.
            start_recorder: Called at the first bytes; None records nothing.
            listeners: Told what happens, in order.
            check_words: Tells what range check the car of a snapshot runs under now; None tells
                what was so at the beginning.
        """
        self.source = source
        self.telemetry = telemetry
        self._clock = clock
        self._keeper = keeper
        self._start_recorder = start_recorder
        self._check_words = check_words
        self._journal = Journal()
        self._index: RecordingIndex | None = None
        self._told_trouble = ""
        self._watchers: list[Listener] = [self._journal, *listeners]
        self._timeline = Timeline(telemetry, self._watchers)
        self._began_s: float | None = None
        self._preroll: deque[Inbound] = deque(maxlen=PREROLL)

    @property
    def title(self) -> str:
        """The source, as the user wrote it."""
        return self.source.name

    def range_check(self, snapshot: Snapshot) -> str:
        """Return the range check that the car runs under, and whether it still holds."""
        if self._check_words is None or snapshot.identity is None:
            return super().range_check(snapshot)
        return self._check_words(snapshot)

    @property
    def record_state(self) -> RecordState:
        """Whether the session is being recorded."""
        if self._index is None:
            return RecordState()
        recorder = self._index.recorder
        return RecordState(
            recording=not recorder.trouble,
            file_name=recorder.path.name if recorder.path else "",
            trouble=recorder.trouble,
            lost_bytes=recorder.lost_bytes,
        )

    def session_path(self) -> str | None:
        """Return the session's file, None where nothing was recorded."""
        path = self._index.recorder.path if self._index else None
        return str(path) if path else None

    def mark(self, text: str = "") -> None:
        """Mark this moment."""
        self._accept(MarkMade(self._clock.now_s(), text))

    def stand_here(self) -> None:
        """Take the car's newest fix as the driver's position, or say that there is none."""
        snapshot = self.snapshot
        latitude_deg = snapshot.number("latitude_deg")
        longitude_deg = snapshot.number("longitude_deg")
        if latitude_deg is None or longitude_deg is None or snapshot.number("fix_type") in (0, 1):
            self.tell_watchers("driver", "no fresh fix: wait until the car has one, then say again")
            return
        self._accept(DriverPlaced(self._clock.now_s(), latitude_deg, longitude_deg))

    def add_listener(self, listener: Listener) -> None:
        """Tell one more of what happens, from now on."""
        self._watchers.append(listener)
        self._timeline.listeners.append(listener)

    def place_driver(self, latitude_deg: float, longitude_deg: float) -> None:
        """Take the driver's position; distances count from it."""
        self._accept(DriverPlaced(self._clock.now_s(), latitude_deg, longitude_deg))

    async def run(self, for_s: float | None = None) -> None:
        """Run until the source ends, or for a time counted from the first bytes.

        Raises:
            SourceError: The source cannot work at all.
        """
        opened_s = self._clock.now_s()
        reading = asyncio.ensure_future(self._read())
        try:
            while not reading.done():
                await self._clock.sleep(self._until_next_tick_s())
                now_s = self._clock.now_s()
                begun_s = opened_s if self._began_s is None else self._began_s
                if for_s is not None and now_s - begun_s >= for_s:
                    if self._began_s is not None:
                        self._timeline.advance(for_s)
                    break
                self._advance(now_s)
                self._tell_recording_trouble()
            else:
                reading.result()
        finally:
            reading.cancel()
            await self.source.aclose()
            with suppress(asyncio.CancelledError, Exception):
                await reading
            self._finish()

    async def _read(self) -> None:
        async for inbound in self.source.events():
            self._accept(inbound)

    def _accept(self, inbound: Inbound) -> None:
        if self._began_s is None:
            if not isinstance(inbound, BytesReceived):
                waiting = replace(inbound, at_s=0.0)
                self._preroll.append(waiting)
                self._timeline.accept(waiting)
                return
            self._began_s = inbound.at_s
            self._begin_recording()
        on_session_clock = replace(inbound, at_s=inbound.at_s - self._began_s)
        ordered = self._timeline.in_order(on_session_clock)
        if self._index is not None:
            self._index.recorder.record(ordered)
        self._timeline.accept(ordered)

    def _begin_recording(self) -> None:
        if self._start_recorder is None:
            return
        self._index = RecordingIndex(self._start_recorder(), self._keeper)
        for waited in self._preroll:
            self._index.recorder.record(waited)
        for event in self._journal.events:
            self._index.happened(event)
        self._timeline.listeners.append(self._index)

    def _advance(self, now_s: float) -> None:
        if self._began_s is not None:
            self._timeline.advance(now_s - self._began_s - HOLD_BACK_S)

    def _tell_recording_trouble(self) -> None:
        """Say at once when bytes begin to be lost, and when they no longer are.

        This is told to whoever watches, not to the recording: the disk is no part of the session.
        """
        trouble = self.record_state.trouble
        if trouble == self._told_trouble:
            return
        self._told_trouble = trouble
        text = trouble or "all is well again"
        self.tell_watchers("recording", text)

    def tell_watchers(self, kind: str, text: str) -> None:
        """Tell something that is no part of the session: of the disk, of the loudspeaker."""
        told = Noted(self.telemetry.now_s, self.telemetry.state.vehicle_s, kind, text)
        for watcher in self._watchers:
            watcher.happened(told)

    def _until_next_tick_s(self) -> float:
        if self._began_s is None:
            return TICK_S
        due_s = self._began_s + self._timeline.next_tick * TICK_S + HOLD_BACK_S
        # Never zero: a due time that rounding puts a hair ahead must not spin.
        return max(due_s - self._clock.now_s(), 0.001)

    def _finish(self) -> None:
        if self._index is not None:
            self._index.close(self.telemetry, end_at_s=self._timeline.ticked_to_s)
