"""Sessions to test with: a few by hand, and any that Hypothesis can think of."""

from __future__ import annotations

import random
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from itertools import accumulate
from pathlib import Path

from hypothesis import strategies as st

from groundstation.inbound import (
    BytesReceived,
    DriverPlaced,
    Inbound,
    LinkChanged,
    LinkState,
    MarkMade,
    TelemetrySignal,
)
from groundstation.recording.writer import Recorder

STARTED = datetime(2031, 5, 4, 14, 22, 33, tzinfo=timezone(timedelta(hours=2)))
STEM = "20310504-142233"


def recorder(folder: Path, **facts: object) -> Recorder:
    return Recorder(folder, facts=facts, started=STARTED, software_version="9.8.7")


def some_inbound(count: int, *, seed: int = 1) -> list[Inbound]:
    """Return a session at about 130 chunks a second, with everything else mixed in."""
    chance = random.Random(seed)
    inbound: list[Inbound] = [LinkChanged(0.0, LinkState.CONNECTED, "invented port opened")]
    for number in range(count):
        at_s = number / 130
        inbound.append(BytesReceived(at_s, chance.randbytes(chance.randint(0, 60))))
        if number % 37 == 36:
            inbound.append(TelemetrySignal(at_s, -chance.uniform(40, 110)))
        if number % 91 == 90:
            inbound.append(MarkMade(at_s, f"mark {number} \u26a1"))
        if number % 200 == 199:
            inbound.append(LinkChanged(at_s, LinkState.LOST, "invented cable pulled"))
            inbound.append(LinkChanged(at_s, LinkState.CONNECTED))
    return inbound


def record(folder: Path, inbound: Iterable[Inbound], *, clean: bool = True) -> Path:
    """Return the file of a whole session."""
    with recorder(folder) as recording:
        for each in inbound:
            recording.record(each)
        assert recording.flush()
        if clean:
            recording.close(end_at_s=0.0, summary={}, vehicle_name=None)
        assert recording.path is not None
        path = recording.path
    return path


_any_text = st.text(st.characters(exclude_categories=[]), max_size=20)
"""Lone surrogates and control characters too."""

_steps_s = st.one_of(st.just(0.0), st.floats(0.0, 0.3), st.floats(0.0, 5000.0))


@st.composite
def sessions(draw: st.DrawFn) -> list[Inbound]:
    """Draw any session with times that never go back."""
    makers = draw(
        st.lists(
            st.one_of(
                st.binary(max_size=80).map(lambda data: lambda at_s: BytesReceived(at_s, data)),
                st.binary(max_size=80).map(lambda data: lambda at_s: BytesReceived(at_s, data)),
                st.tuples(st.sampled_from(LinkState), _any_text).map(
                    lambda link: lambda at_s: LinkChanged(at_s, *link)
                ),
                st.floats(-200, 50).map(lambda dbm: lambda at_s: TelemetrySignal(at_s, dbm)),
                _any_text.map(lambda text: lambda at_s: MarkMade(at_s, text)),
                st.tuples(st.floats(-90, 90), st.floats(-180, 180)).map(
                    lambda place: lambda at_s: DriverPlaced(at_s, *place)
                ),
            ),
            max_size=60,
        )
    )
    steps_s = draw(st.lists(_steps_s, min_size=len(makers), max_size=len(makers)))
    start_s = draw(st.floats(-1.0, 1.0))
    times_s = list(accumulate(steps_s, initial=start_s))[1:]
    return [make(at_s) for make, at_s in zip(makers, times_s, strict=True)]
