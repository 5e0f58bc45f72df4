"""What came first when a session ended badly: the radio, the yaw, the bump, the pack?

Owns the timeline of the last pass: every channel that left its normal range, in the order in which
it began, and where the car was last. Rule: it tells the order of events, not their cause; two
events closer together than the frames can tell apart are said to be so.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from groundstation.analysis.course import Course
from groundstation.analysis.incident_departure import Departure, Stretch, Subject
from groundstation.analysis.incident_end import BadEnd, bad_end
from groundstation.analysis.incident_link import control_departures, telemetry_departures
from groundstation.analysis.incident_motion import (
    roll_departures,
    shock_departures,
    yaw_departures,
)
from groundstation.analysis.incident_pack import pack_departures
from groundstation.analysis.incident_place import LastPosition, last_position
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Record

LONGEST_S = 20.0
"""What left its normal range earlier than this before the end is not this incident."""

OF_A_ROLL = (Subject.YAW, Subject.SHOCK)


@dataclass(frozen=True, slots=True)
class Incident:
    """How a session ended badly."""

    reason: str
    pass_number: int
    end_s: float
    """Vehicle clock: the last that was heard, or when the car stood."""
    departures: tuple[Departure, ...]
    """By the time they began."""
    order: tuple[Subject, ...]
    """Each subject once, by its first departure."""
    order_words: str
    position: LastPosition | None


def incident_of(
    record: Record, spans: list[PassSpan], course: Course | None, *, fix_delay_s: float = 0.0
) -> Incident | None:
    """Return the timeline of the last pass where it ended badly, else None.

    Args:
        record: One vehicle's recording.
        spans: Its passes.
        course: Their line; None where no fix tells it.
        fix_delay_s: How much later than true the fixes are stamped (`speed.fix_delay_s`).
    """
    bad = bad_end(record, spans)
    if bad is None:
        return None
    span = spans[-1]
    departures = _departures(record, spans, course, bad)
    first: dict[Subject, Departure] = {}
    for each in departures:
        first.setdefault(each.subject, each)
    return Incident(
        reason=bad.reason,
        pass_number=span.number,
        end_s=bad.end_s,
        departures=tuple(departures),
        order=tuple(first),
        order_words=_order_words(list(first.values())),
        position=last_position(record, course, end_s=bad.end_s, fix_delay_s=fix_delay_s),
    )


def _departures(
    record: Record, spans: list[PassSpan], course: Course | None, bad: BadEnd
) -> list[Departure]:
    span = spans[-1]
    stretch = Stretch(record, max(span.start_s, bad.end_s - LONGEST_S), bad.end_s)
    found = [
        *control_departures(stretch, course),
        *yaw_departures(stretch, spans),
        *shock_departures(stretch),
        *roll_departures(stretch),
        *pack_departures(stretch, spans),
        *telemetry_departures(stretch, ended=span.ended_in_silence),
    ]
    rolled_s = min(
        (each.not_after_s for each in found if each.subject is Subject.ROLL), default=None
    )
    if rolled_s is not None:
        # A rolling car turns and is struck from all sides: that is the roll, told already.
        found = [
            each for each in found if each.subject not in OF_A_ROLL or each.not_before_s < rolled_s
        ]
    return sorted(found, key=lambda each: each.onset_s)


def _order_words(first: list[Departure]) -> str:
    if not first:
        return "nothing that was measured left its normal range: cannot tell what came first"
    words = f"first the {first[0].subject}"
    for before, after in pairwise(first):
        joint = "then" if before.surely_before(after) else "at about the same time"
        words += f", {joint} the {after.subject}"
    return words
