"""A range check that runs: the live session, and the check that looks at the same bytes.

Owns the joint of both, and the keeping of the check: at the verdict, and again at the end. Rule:
whatever was measured is kept, however the session ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from groundstation.cli.check_words import obey
from groundstation.errors import SessionFileError
from groundstation.inbound import Inbound
from groundstation.rangecheck.check import RangeCheck
from groundstation.rangecheck.record import CheckRecord
from groundstation.rangecheck.view import CheckView, Step
from groundstation.recording.checks import record_as_json, save_check
from groundstation.station import Station
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import Noted, SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from protocol import Table

MARK_LEAD = "check: "
"""Before what the person said, where the session keeps it as a mark."""


class CheckedTelemetry(Telemetry):
    """Understands the bytes, and lets a range check see them."""

    def __init__(self, check: RangeCheck, profile: VehicleProfile, *, table: Table) -> None:
        super().__init__(profile, table=table)
        self.check = check
        self.said = ""
        """The newest thing that the check noticed."""

    def handle(self, inbound: Inbound) -> list[SessionEvent]:
        """Take note of an inbound event; return what is worth telling."""
        return [*super().handle(inbound), *self._heard(self.check.handle(inbound))]

    def tick(self, now_s: float) -> list[SessionEvent]:
        """Judge what only time tells."""
        return [*super().tick(now_s), *self._heard(self.check.tick(now_s))]

    def _heard(self, events: Sequence[Noted]) -> Sequence[Noted]:
        if events:
            self.said = events[-1].text
        return events


class CheckStation(Station):
    """A live session in which a range check runs."""

    def __init__(
        self, *, telemetry: CheckedTelemetry, folder: Path, checked: datetime, **joined: Any
    ) -> None:
        """Join the parts.

        Args:
            telemetry: With the check.
            folder: Where checks are kept.
            checked: When the check began, time of day.
            joined: As of `Station`.
        """
        super().__init__(telemetry=telemetry, **joined)
        self._checked_telemetry = telemetry
        self._folder = folder
        self._checked = checked
        self._judged = False
        self.add_listener(self)
        self.kept_as: Path | None = None
        """The file of the check, once there is one."""
        self.keeping_trouble = ""

    @property
    def check(self) -> RangeCheck:
        """The check."""
        return self._checked_telemetry.check

    @property
    def check_view(self) -> CheckView:
        """Where the check stands."""
        return self.check.view()

    @property
    def said(self) -> str:
        """The newest answer, or what the check noticed by itself."""
        return self.keeping_trouble or self._checked_telemetry.said

    def tell(self, words: str) -> str:
        """Take plain words of the person; they are kept in the session as a mark."""
        answer = obey(self.check, words)
        self.mark(MARK_LEAD + words)
        self._checked_telemetry.said = answer
        return answer

    def record(self) -> CheckRecord:
        """Return the check as it stands."""
        return self.check.record(self._checked)

    def keep(self) -> None:
        """Store the check as it stands, in place of what was stored of it before."""
        if self.snapshot.identity is None:
            return
        record = self.record()
        try:
            self.kept_as = save_check(self._folder, record, replaces=self.kept_as)
        except SessionFileError as error:
            self.keeping_trouble = str(error)
            return
        self.keeping_trouble = ""
        if self._index is not None:
            self._index.recorder.set_fact("check", record_as_json(record))

    def happened(self, event: SessionEvent) -> None:
        """Wait for ticks."""

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Keep the check when it comes to its verdict."""
        judged = self.check.step is Step.VERDICT
        if judged and not self._judged:
            self.keep()
            if self.kept_as is not None:
                self._checked_telemetry.said = f"check kept as {self.kept_as.name}"
        self._judged = judged

    def _finish(self) -> None:
        self.keep()
        super()._finish()
