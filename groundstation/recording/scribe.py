"""The writer's thread: from the backlog into the file, through every trouble a disk can have.

Rules: an entry leaves the backlog only when it is in the file; what stands in the way is told and
tried again, without end, and once it is over a line about it stays in the file's index. At most
`SYNC_S` and one flush of the disk are at risk in a power cut.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from pathlib import Path

from groundstation.errors import SessionFileError
from groundstation.inbound import Inbound
from groundstation.recording import names
from groundstation.recording.backlog import Backlog, Entry, Fact
from groundstation.recording.growing import GrowingFile
from groundstation.recording.rows import ArrivalOrder
from groundstation.recording.trouble import OVERFLOW, Trouble, trouble_of
from groundstation.vehicle.session_events import Noted

SYNC_S = 0.25
"""Half of what may be at risk; the other half is left to the disk's own slowness."""

RETRY_S = 1.0

TOGETHER = 500
"""Entries written in one transaction where so many wait: few enough to take milliseconds."""


@dataclass(frozen=True, slots=True)
class Ending:
    """What a clean end adds to a session."""

    facts: tuple[Fact, ...]
    vehicle_name: str | None


class Scribe:
    """Writes one session; `run` is the thread."""

    def __init__(
        self,
        folder: Path,
        backlog: Backlog,
        *,
        started: datetime,
        meta: Mapping[str, str],
        now_s: Callable[[], float],
    ) -> None:
        self.path: Path | None = None
        """The file; None while none could be created."""
        self.trouble: Trouble | None = None
        self.ending: Ending | None = None
        """Set before the backlog is closed; without it the end is not a clean one."""
        self._folder = folder
        self._backlog = backlog
        self._stem = names.started_text(started)
        self._meta = dict(meta)
        self._now_s = now_s
        self._file: GrowingFile | None = None
        self._order = ArrivalOrder()
        self._sync_due_s: float | None = None
        self._retry_due_s = 0.0
        self._trouble_since_s = 0.0
        self._told_lost_bytes = 0

    def run(self) -> None:
        """Write until the backlog is closed, then end the file."""
        try:
            closing = False
            well = self._round()
            while not closing:
                task = self._backlog.wait(self._timeout_s(), for_entries=well)
                closing, well = task.closing, self._round()
                self._backlog.served(task.ticket, well=well)
            self._finish(well)
        except Exception as error:  # the thread's last line: whatever it is, it must be seen
            self.trouble = Trouble(f"an error in this program ({error!r})", "please report it")
        finally:
            self._backlog.retire()

    def _timeout_s(self) -> float | None:
        due_s = self._retry_due_s if self.trouble else self._sync_due_s
        return None if due_s is None else max(due_s - self._now_s(), 0.0)

    def _round(self) -> bool:
        """Write all that waits; return whether that worked."""
        try:
            file = self._ready_file()
            while entries := self._backlog.waiting(TOGETHER):
                self._write(file, entries)
                self._sync_if_due(file)
            self._tell_of_trouble(file)
            self._sync_if_due(file)
        except (OSError, sqlite3.Error) as error:
            if not self.trouble:
                self._trouble_since_s = self._newest_s
            self.trouble = trouble_of(error, self._folder)
            self._retry_due_s = self._now_s() + RETRY_S
            if _is_damage(error):
                self._leave_file()
            return False
        return True

    @property
    def _newest_s(self) -> float:
        return self._order.newest_s if isfinite(self._order.newest_s) else 0.0

    def _write(self, file: GrowingFile, entries: list[Entry]) -> None:
        order = replace(self._order)
        entries = [order.mended(each) if isinstance(each, Inbound) else each for each in entries]
        lost = file.write(entries)
        self._backlog.done(len(entries), lost=lost)
        self._order = order
        self._meta |= {each.key: each.value for each in entries if isinstance(each, Fact)}
        if self._sync_due_s is None:
            self._sync_due_s = self._now_s() + SYNC_S

    def _sync_if_due(self, file: GrowingFile) -> None:
        if self._sync_due_s is not None and self._now_s() >= self._sync_due_s:
            file.sync(self._newest_s)
            self._sync_due_s = None

    def _ready_file(self) -> GrowingFile:
        if self._file is not None and not self.trouble:
            return self._file
        if self.path is not None and self.path.exists():
            self._file = self._continued(self.path)
        else:
            self._file = self._begun()
        self.path = self._file.path
        return self._file

    def _continued(self, path: Path) -> GrowingFile:
        """Return the file once more, from scratch: after an error nothing about it is certain."""
        if self._file is not None:
            self._file.close()
            self._file = None
        try:
            return GrowingFile.reopen(path)
        except (SessionFileError, sqlite3.DatabaseError) as error:
            if not _is_damage(error):
                raise
            return self._begun()

    def _begun(self) -> GrowingFile:
        """Return a new file, with all that could be saved of the one that vanished."""
        begun = GrowingFile.create(self._folder, self._stem, self._meta)
        if self._file is not None:
            with suppress(sqlite3.Error):
                self._file.copy_into(begun)
            self._file.abandon()
        return begun

    def _leave_file(self) -> None:
        """Give up a file that can take no more; the session goes on in another."""
        if self._file is not None:
            self._file.close()
        self._file = self.path = None

    def _tell_of_trouble(self, file: GrowingFile) -> None:
        """Leave a line in the index about a trouble that is over."""
        lost_bytes = self._backlog.lost_bytes
        newly_lost_bytes = lost_bytes - self._told_lost_bytes
        if self.trouble is None and not newly_lost_bytes:
            return
        reason = (self.trouble or OVERFLOW).reason
        since_s = self._trouble_since_s if self.trouble else self._newest_s
        text = f"held up from {since_s:.1f} s to {self._newest_s:.1f} s: {reason}; nothing lost"
        if newly_lost_bytes:
            since_s = self._backlog.lost_since_s or 0.0
            text = f"{newly_lost_bytes} bytes lost from {since_s:.1f} s on: {reason}"
        file.write([Noted(since_s, None, "recording", text)])
        self._told_lost_bytes = lost_bytes
        self._backlog.lost_since_s = None
        self.trouble = None

    def _finish(self, well: bool) -> None:
        if self._file is None:
            return
        file, ending = self._file, self.ending
        if well and ending is not None:
            try:
                file.write(ending.facts)
            except sqlite3.Error as error:
                self.trouble = trouble_of(error, self._folder)
            with suppress(sqlite3.Error):
                file.compact()
        file.close()
        if ending is not None and ending.vehicle_name:
            vehicle = names.vehicle_text(ending.vehicle_name)
            self.path = names.rename(file.path, f"{self._stem}_{vehicle}")


def _is_damage(error: Exception) -> bool:
    """Return whether an error says that a file is no good session any more."""
    if isinstance(error, sqlite3.DatabaseError):
        return not isinstance(error, sqlite3.OperationalError)
    return isinstance(error, SessionFileError)
