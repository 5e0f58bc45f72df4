"""A foreign log as the bytes that a car would have sent, at the log's own times."""

from __future__ import annotations

from collections.abc import Iterator
from heapq import merge
from math import isnan

from groundstation.importing.log import ForeignLog, Series
from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState, MarkMade
from protocol import Sender, Table, Value

IDENT_KIND = "ident"


def inbound_of(
    log: ForeignLog, table: Table, *, vehicle: int, vehicle_name: str, source: str
) -> Iterator[Inbound]:
    """Yield the log as it would have come in, in the order of time.

    Args:
        log: What was read.
        table: With the log's own kinds.
        vehicle: The vehicle's number.
        vehicle_name: Sent once, at the start.
        source: What the session says it came from.
    """
    sender = Sender(table, vehicle=vehicle)
    yield LinkChanged(0.0, LinkState.CONNECTED, source)
    identity: dict[str, Value] = {
        "vehicle_name": vehicle_name,
        "wire_version": table.wire_version,
    }
    yield BytesReceived(0.0, sender.encode(IDENT_KIND, identity, 0))
    moments: list[Iterator[tuple[float, int, str, dict[str, Value] | str]]] = [
        _samples(each, place) for place, each in enumerate(log.series)
    ]
    moments.append((at_s, len(log.series), "", text) for at_s, text in log.marks)
    for at_s, _, kind, content in merge(*moments, key=lambda moment: moment[:2]):
        if isinstance(content, str):
            yield MarkMade(at_s, content)
        else:
            yield BytesReceived(at_s, sender.encode(kind, content, round(at_s * 1e6)))


def _samples(
    series: Series, place: int
) -> Iterator[tuple[float, int, str, dict[str, Value] | str]]:
    names = list(series.values)
    columns = [values.tolist() for values in series.values.values()]
    for at_s, row in zip(series.at_s.tolist(), zip(*columns, strict=True), strict=True):
        known: dict[str, Value] = {
            name: value for name, value in zip(names, row, strict=True) if not isnan(value)
        }
        yield at_s, place, series.kind, known
