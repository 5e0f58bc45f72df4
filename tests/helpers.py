"""What several tests share: feeding a stream in every way it may be cut."""

from __future__ import annotations

from protocol import FrameEvent, Receiver, Table


def feed(
    data: bytes, *, chunk_bytes: int, table: Table | None = None, at_s: float | None = None
) -> list[FrameEvent]:
    """Return the events of `data` handed over in chunks of one size."""
    receiver = Receiver(table)
    events: list[FrameEvent] = []
    for begin in range(0, len(data), chunk_bytes):
        events += receiver.receive_data(data[begin : begin + chunk_bytes], at_s)
    return events


def feed_every_way(
    data: bytes, *, table: Table | None = None, at_s: float | None = None
) -> list[FrameEvent]:
    """Return the events of `data`, the same however it is cut and whatever begins behind it.

    `data` must end with a delimiter. It is fed whole, byte by byte, in chunks of every size, with
    the beginning of another frame behind it, and with empty reads between the bytes.
    """
    assert data.endswith(b"\0")
    events = Receiver(table).receive_data(data, at_s)
    for chunk_bytes in range(1, len(data) + 1):
        assert feed(data, chunk_bytes=chunk_bytes, table=table, at_s=at_s) == events
    for trailing in (b"\x05", b"\x05\x11\x22", b"\x01" * 200):
        assert Receiver(table).receive_data(data + trailing, at_s) == events
    receiver = Receiver(table)
    with_pauses: list[FrameEvent] = []
    for byte in data:
        with_pauses += receiver.receive_data(bytes([byte]), at_s)
        assert receiver.receive_data(b"", at_s) == []
    assert with_pauses == events
    return events
