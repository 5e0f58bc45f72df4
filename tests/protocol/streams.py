"""Recordings as the air may leave them, drawn by Hypothesis, and what a receiver makes of them."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise

from hypothesis import strategies as st

from protocol import (
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    Receiver,
    RejectReason,
    SampleReceived,
    Table,
    Value,
    VehicleRebooted,
)
from protocol.framing import wrap
from protocol.order import CLOCK_WRAP_US, SEQUENCE_WRAP
from protocol.table import HEADER
from tests.protocol.samples import own_table

TABLE = own_table()


@dataclass(frozen=True)
class Recording:
    """All bytes of a session and how they came."""

    data: bytes
    sizes: tuple[int, ...]
    at_s: tuple[float | None, ...]
    restarts: tuple[int, ...]
    """Offsets, each at the beginning of a chunk or at the end."""


@dataclass(frozen=True)
class Heard:
    """One good frame, with all that was said of it."""

    sequence: int
    vehicle_s: float
    at_s: float | None
    missed: int
    late: bool
    rebooted: bool
    values: dict[str, Value] = field(default_factory=dict)
    payload: bytes = b""
    """Of an unknown kind; of a known one the bytes behind its fields."""


@dataclass
class Session:
    """What a receiver makes of a recording."""

    frames: dict[tuple[int, int], list[Heard]] = field(default_factory=dict)
    """By kind code and vehicle."""
    vehicles: list[int] = field(default_factory=list)
    """In the order in which they were first heard."""
    rejected: Counter[RejectReason] = field(default_factory=Counter)
    missed: Counter[int] = field(default_factory=Counter)
    reboots: Counter[int] = field(default_factory=Counter)
    unknown: Counter[int] = field(default_factory=Counter)


def hear(recording: Recording, table: Table) -> Session:
    """Return what a receiver says, chunk by chunk."""
    receiver, session, begin = Receiver(table), Session(), 0
    for size, at_s in zip(recording.sizes, recording.at_s, strict=True):
        if begin in recording.restarts:
            receiver.link_restarted()
        missed, rebooted = 0, False
        for event in receiver.receive_data(recording.data[begin : begin + size], at_s):
            match event:
                case FrameRejected():
                    session.rejected[event.reason] += 1
                case FramesMissed():
                    missed = event.count
                    session.missed[event.vehicle] += missed
                case VehicleRebooted():
                    rebooted = True
                    session.reboots[event.vehicle] += 1
                case SampleReceived() | FrameUnknown():
                    _keep(session, event, missed=missed, rebooted=rebooted)
                    missed, rebooted = 0, False
        begin += size
    return session


def _keep(
    session: Session, event: SampleReceived | FrameUnknown, *, missed: int, rebooted: bool
) -> None:
    known = isinstance(event, SampleReceived)
    code = event.kind.code if known else event.code
    heard = Heard(
        event.sequence,
        event.vehicle_s,
        event.at_s,
        missed,
        event.late,
        rebooted,
        dict(event.values) if known else {},
        event.extra if known else event.payload,
    )
    session.frames.setdefault((code, event.vehicle), []).append(heard)
    if event.vehicle not in session.vehicles:
        session.vehicles.append(event.vehicle)
    if not known:
        session.unknown[code] += 1


@st.composite
def recordings(draw: st.DrawFn, *, most_frames: int = 40) -> Recording:
    """Return a recording of one or two vehicles, damaged and cut in many ways."""
    data = draw(streams(most_frames=most_frames))
    for _ in range(draw(st.integers(0, 6))):
        data = draw(damaged(data))
    cuts = sorted(draw(st.sets(st.integers(0, len(data)), max_size=30)))
    borders = [0, *cuts, len(data)]
    sizes = tuple(after - before for before, after in pairwise(borders))
    at_s = draw(arrivals(len(sizes)))
    restarts = draw(st.sets(st.sampled_from(borders[:-1]), max_size=4))
    return Recording(data, sizes, at_s, tuple(sorted(restarts)))


@st.composite
def streams(draw: st.DrawFn, *, most_frames: int) -> bytes:
    """Return frames whose counters go on, and now and then do not."""
    counters = {
        vehicle: [draw(st.sampled_from([0, 65_530, 30_000])), draw(clocks)] for vehicle in (1, 9)
    }
    frames: list[bytes] = []
    for _ in range(draw(st.integers(0, most_frames))):
        vehicle = draw(st.sampled_from([1, 1, 1, 9]))
        counter = counters[vehicle]
        counter[0] += draw(st.sampled_from([1, 1, 1, 1, 1, 2, 4, 0, -1, -3, 5000, 40_000]))
        counter[1] += draw(
            st.sampled_from([10_000] * 5 + [0, -80_000, 900_000, 12_000_000, 3_000_000_000])
        )
        header = (vehicle, counter[0] % SEQUENCE_WRAP, counter[1] % CLOCK_WRAP_US)
        frames.append(draw(frames_of_any_kind(header)))
    return b"".join(frames)


clocks = st.sampled_from([0, 5_000_000, CLOCK_WRAP_US - 30_000, 3_000_000_000])


@st.composite
def frames_of_any_kind(draw: st.DrawFn, header: tuple[int, int, int]) -> bytes:
    """Return a frame, mostly of a known kind; sometimes longer or shorter than its kind."""
    kind = draw(st.sampled_from([TABLE.by_name["motion"]] * 3 + list(TABLE.kinds)))
    code, size = kind.code, kind.layout.size
    what = draw(st.integers(0, 11))
    if what == 0:
        code, size = draw(st.sampled_from([0x00, 0x60, 0xFF])), draw(st.integers(0, 54))
    elif what == 1:
        size = draw(st.integers(0, 54))
    payload = draw(st.binary(min_size=size, max_size=size))
    if draw(st.booleans()):
        # Telemetry is full of zeros, and of 0xFF.
        payload = payload.translate(
            bytes(each if each % 3 else each // 128 * 255 for each in range(256))
        )
    return wrap(HEADER.pack(code, *header) + payload)


@st.composite
def damaged(draw: st.DrawFn, data: bytes) -> bytes:
    """Return data with one thing wrong."""
    place = draw(st.integers(0, len(data)))
    length = draw(st.sampled_from([1, 1, 2, 5, 33, 70, 200]))
    before, hit, after = data[:place], data[place : place + length], data[place + length :]
    match draw(st.sampled_from(["flip", "lose", "add", "double", "zero", "truncate"])):
        case "flip" if hit:
            return before + bytes([hit[0] ^ 1 << draw(st.integers(0, 7))]) + hit[1:] + after
        case "lose":
            return before + after
        case "add":
            return before + draw(st.binary(min_size=1, max_size=length)) + hit + after
        case "double":
            return before + hit + hit + after
        case "zero":
            return before + bytes(draw(st.integers(1, 3))) + hit + after
        case "truncate" if len(before) > len(after):
            return before
    return data


@st.composite
def arrivals(draw: st.DrawFn, count: int) -> tuple[float | None, ...]:
    """Return when chunks arrived: steadily, with silences and backlogs, or not known."""
    if draw(st.integers(0, 5)) == 0:
        return (None,) * count
    now_s, at_s = 0.0, list[float | None]()
    for _ in range(count):
        now_s += draw(st.sampled_from([0.0, 0.01, 0.0123, 0.5, 11.0, 2200.0, 9000.0]))
        at_s.append(None if draw(st.integers(0, 30)) == 0 else now_s)
    return tuple(at_s)
