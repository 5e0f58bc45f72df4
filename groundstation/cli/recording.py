"""Records events as a live session would have been, as fast as they come."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from groundstation.cli.options import Choices
from groundstation.inbound import Inbound
from groundstation.indexing import RecordingIndex
from groundstation.recording.writer import Recorder
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline

FLUSH_EVERY = 1000
"""Events after which the recorder is waited for; real time would have waited."""


def record_through(
    inbounds: Iterator[Inbound],
    recorder: Recorder,
    choices: Choices,
    *,
    end_at_s: float,
    last_at_s: float = 0.0,
) -> None:
    """Record events with their index, and close the session.

    Args:
        inbounds: What came in, on the session clock.
        recorder: Of the session.
        choices: How the session is watched.
        end_at_s: Up to where time goes on, though nothing may be heard by then.
        last_at_s: The session ends no earlier, even between two ticks.
    """
    index = RecordingIndex(recorder, choices.keeper)
    telemetry = Telemetry(choices.profile, table=choices.table)
    timeline = Timeline(telemetry, [index])
    while batch := list(islice(inbounds, FLUSH_EVERY)):
        for inbound in batch:
            recorder.record(inbound)
            timeline.accept(inbound)
        recorder.flush()
    timeline.advance(end_at_s)
    index.close(telemetry, end_at_s=max(timeline.ticked_to_s, last_at_s))
