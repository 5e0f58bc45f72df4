"""What panels draw from: one look at a desk, and how the user wants to see it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from groundstation.desk import Bookmark, Desk, RecordState, ReplayState
from groundstation.radio.level import Limits
from groundstation.screens.drawing.plan import Plan, plan
from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.traces import CourseTrace, Traces
from protocol import Table


class Page(StrEnum):
    """What stands below the figures."""

    CHARTS = "charts"
    """Charts, both links and the events."""
    CHANNELS = "channels"
    DISTANCE = "distance"
    """The margin over distance."""
    LARGE = "large"
    """The figures alone, over the whole screen."""
    KEYS = "keys"


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Everything that one redrawing of the screen reads; taken once, so that all panels agree."""

    title: str
    snapshot: Snapshot
    events: Sequence[SessionEvent]
    traces: Traces
    course: CourseTrace
    record: RecordState
    range_check: str
    replay: ReplayState | None
    bookmarks: Sequence[Bookmark]
    unit: SpeedUnit
    limits: Limits
    table: Table
    width: int
    plan: Plan
    page: Page

    @property
    def is_waiting(self) -> bool:
        """Whether no good frame has come yet."""
        return self.snapshot.identity is None


def look(
    desk: Desk,
    *,
    unit: SpeedUnit,
    limits: Limits,
    table: Table,
    page: Page,
    width: int,
    height: int,
) -> View:
    """Return a view of a desk as it is now, on a screen of some size."""
    replay, record, snapshot = desk.replay, desk.record_state, desk.snapshot
    return View(
        title=desk.title,
        snapshot=snapshot,
        events=desk.events,
        traces=desk.traces,
        course=desk.course,
        record=record,
        range_check=desk.range_check(snapshot),
        replay=None if replay is None else replay.state,
        bookmarks=() if replay is None else replay.bookmarks,
        unit=unit,
        limits=limits,
        table=table,
        width=width,
        plan=plan(
            width,
            height,
            is_replay=replay is not None,
            has_trouble=bool(record.trouble),
            is_large=page is Page.LARGE,
            has_course=snapshot.identity is not None and snapshot.forecast.distance_m is not None,
        ),
        page=page,
    )
