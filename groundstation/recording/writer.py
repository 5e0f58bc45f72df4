"""The recorder: everything that comes in goes to disk, raw, before anything looks into it.

Rules: no call but `flush` and `close` waits for the disk, and none raises because of it; a trouble
is told (`trouble`, `lost_bytes`) while the live session goes on. See `backlog` for what
happens when the disk cannot keep up, `scribe` for what is at risk.
"""

from __future__ import annotations

import threading
import time
import warnings
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from groundstation.inbound import Inbound
from groundstation.recording.backlog import Backlog, Checkpoint, Fact
from groundstation.recording.info import FACT_PREFIX, VEHICLE_NAME, as_json
from groundstation.recording.scribe import Ending, Scribe
from groundstation.recording.trouble import OVERFLOW
from groundstation.vehicle.session_events import Noted
from protocol.table import standard_text


class Recorder:
    """Records one session into one file."""

    _closed = True

    def __init__(
        self,
        folder: Path,
        *,
        facts: Mapping[str, object],
        started: datetime,
        software_version: str,
        now_s: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin a session.

        Args:
            folder: Where sessions lie; made where it is missing.
            facts: What is known beforehand: set-up sheet, notes, the vehicle's name, the text of a
                builder's own frame table... Anything JSON can hold.
            started: The time of day; without an offset it is taken as local.
            software_version: Of this program.
            now_s: Paces the writer's thread.

        Raises:
            TypeError: A fact is nothing that JSON can hold.
        """
        moment = started if started.tzinfo else started.astimezone()
        meta = {
            "software_version": as_json(software_version),
            "table": as_json(standard_text()),
            "started": as_json(moment.isoformat()),
            "ended_cleanly": as_json(False),
        }
        meta |= {FACT_PREFIX + key: as_json(value) for key, value in facts.items()}
        self._backlog = Backlog()
        self._scribe = Scribe(folder, self._backlog, started=moment, meta=meta, now_s=now_s)
        # A daemon: a program that dies of an error must not hang on its recorder.
        self._thread = threading.Thread(target=self._scribe.run, name="recorder", daemon=True)
        self._closed = False
        self._thread.start()

    @property
    def path(self) -> Path | None:
        """The session file; None while none could be created."""
        return self._scribe.path

    @property
    def trouble(self) -> str:
        """Why bytes are being lost, one plain sentence with what to do; empty while all is well."""
        trouble = self._scribe.trouble or (OVERFLOW if self._backlog.overflowing else None)
        return str(trouble) if trouble else ""

    @property
    def lost_bytes(self) -> int:
        """Bytes received that will never be in the file."""
        return self._backlog.lost_bytes

    def record(self, inbound: Inbound) -> None:
        """Hand over what came in."""
        self._backlog.offer(inbound)

    def note_event(self, at_s: float, vehicle_s: float | None, kind: str, text: str) -> None:
        """Index something that happened, for lists and seeking."""
        self._backlog.offer(Noted(at_s, vehicle_s, kind, text))

    def keep_checkpoint(self, at_s: float, state: bytes) -> None:
        """Keep a state that a replay can begin from."""
        self._backlog.offer(Checkpoint(at_s, state))

    def set_fact(self, key: str, value: object) -> None:
        """Describe the session: set-up sheet, notes, the vehicle's name...

        Raises:
            TypeError: The value is nothing that JSON can hold.
        """
        self._backlog.offer(Fact(FACT_PREFIX + key, as_json(value)))

    def flush(self) -> bool:
        """Wait until all that was handed over is in the file; return whether it is."""
        return self._backlog.flush()

    def close(
        self, *, end_at_s: float, summary: Mapping[str, object], vehicle_name: str | None
    ) -> Path | None:
        """End the session cleanly, and return its file; None where there never was one.

        Waits for the disk. Closing again returns the same.

        Args:
            end_at_s: Where the session ends, on its clock.
            summary: What a list of sessions shows; anything JSON can hold.
            vehicle_name: Becomes part of the file's name, as far as a file name may hold it.

        Raises:
            TypeError: The summary is nothing that JSON can hold; the session is not closed.
        """
        if not self._closed:
            facts = {"end_at_s": end_at_s, "summary": dict(summary), "ended_cleanly": True}
            ending = [Fact(key, as_json(value)) for key, value in facts.items()]
            if vehicle_name is not None:
                ending.append(Fact(FACT_PREFIX + VEHICLE_NAME, as_json(vehicle_name)))
            self._scribe.ending = Ending(tuple(ending), vehicle_name)
            self._end()
        return self.path

    def _end(self) -> None:
        self._closed = True
        self._backlog.close()
        self._thread.join()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        # Reached without `close`, the session did not end cleanly, and its file does not say so.
        if not self._closed:
            self._end()

    def __del__(self) -> None:
        if not self._closed:
            self._backlog.close()
            warnings.warn(f"unclosed recorder of {self.path}", ResourceWarning, stacklevel=2)
