"""The two radio links, plainly apart: transmitter to car, and car to laptop.

Losing the control link is what crashes cars; losing the telemetry link only makes us blind.
"""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.inbound import LinkState
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import UNKNOWN, ago, cells, clauses, line, number, wrap
from groundstation.vehicle.snapshot import ControlLink, Snapshot, TelemetryLink

SILENT_FROM_S = 0.5
"""From this age on the telemetry link is said to be silent."""

_LABEL_CELLS = 10


def control_row(snapshot: Snapshot, width: int) -> Line:
    """Return the control link in one row; what does not fit is left out from the end."""
    link = snapshot.control
    items: list[list[Run]] = []
    if link.stale:
        items.append([(f" {_stale_age(snapshot)} ", Ink.AGE)])
    items += [
        [(number(link.rssi_dbm, 0, "dBm"), Ink.STRONG)],
        [("SNR ", Ink.LABEL), (number(link.snr_db, 0, "dB"), Ink.TEXT)],
        [("packets ", Ink.LABEL), (number(link.received_percent, 0, "%"), Ink.TEXT)],
        [("antenna ", Ink.LABEL), (_count(link.antenna), Ink.TEXT)],
        _failsafe(link),
    ]
    return _row(width, "CONTROL", items)


def telemetry_row(snapshot: Snapshot, width: int) -> Line:
    """Return the telemetry link in one row; a source in trouble says why instead of counting."""
    link = snapshot.telemetry
    items: list[list[Run]] = [_source(link)]
    if link.state in (LinkState.LOST, LinkState.RETRYING):
        room = max(width - 15 - cells(items[0]), 1)
        items.append([(clauses(link.detail, room), Ink.TEXT)])
        return _row(width, "TELEMETRY", items)
    items += [
        _age(link),
        [("lost ", Ink.LABEL), (_percent(link.recent_loss_ratio), Ink.TEXT)],
        [("bad ", Ink.LABEL), (f"{link.rejected}", Ink.TEXT)],
        [("delay ", Ink.LABEL), (_milliseconds(link.latency_s, sign="+"), Ink.TEXT)],
        [("jitter ", Ink.LABEL), (_milliseconds(link.jitter_s), Ink.TEXT)],
    ]
    return _row(width, "TELEMETRY", items)


def control_panel(snapshot: Snapshot, width: int) -> list[Line]:
    """Return the control link as a titled list."""
    link = snapshot.control
    title: list[Run] = [(_title(width, " CONTROL LINK", "  transmitter to car"), Ink.TITLE)]
    if link.stale:
        title = [(" CONTROL LINK ", Ink.TITLE), (f" {_stale_age(snapshot)} ", Ink.AGE)]
    threshold = number(link.threshold_dbm, 0, "dBm")
    origin = f"  {link.threshold_origin}" if link.threshold_origin else ""
    return [
        line(width, *title, pad=Ink.TITLE),
        _item(width, "RSSI", (number(link.rssi_dbm, 0, "dBm"), Ink.STRONG)),
        _item(width, "margin", (number(link.margin_db, 1, "dB"), Ink.STRONG)),
        _item(width, "threshold", (threshold, Ink.TEXT), (origin, Ink.FAINT)),
        _item(width, "SNR", (number(link.snr_db, 0, "dB"), Ink.TEXT)),
        _item(width, "packets", (number(link.received_percent, 0, "%"), Ink.TEXT)),
        _item(width, "antenna", (_count(link.antenna), Ink.TEXT)),
        _item(width, *_failsafe_item(link)),
    ]


def telemetry_panel(snapshot: Snapshot, width: int) -> list[Line]:
    """Return the telemetry link as a titled list."""
    link = snapshot.telemetry
    rows = [
        line(
            width, (_title(width, " TELEMETRY LINK", "  car to laptop"), Ink.TITLE), pad=Ink.TITLE
        ),
        _item(width, "source", *_source(link)),
    ]
    if link.state in (LinkState.LOST, LinkState.RETRYING):
        rows += [line(width, (f"  {text}", Ink.TEXT)) for text in wrap(link.detail, width - 3, 3)]
    lost = f"  {link.lost} of {link.frames + link.lost}" if link.frames else ""
    rejected: list[Run] = [(f"{link.rejected}", Ink.TEXT)]
    if link.unknown:
        rejected.append((f"  unknown {link.unknown}", Ink.FAINT))
    rows += [
        _item(width, "newest", *_age(link)),
        _item(width, "lost", (_percent(link.recent_loss_ratio), Ink.TEXT), (lost, Ink.FAINT)),
        _item(width, "rejected", *rejected),
        _item(width, "delay", (_milliseconds(link.latency_s, sign="+"), Ink.TEXT)),
        _item(width, "jitter", (_milliseconds(link.jitter_s), Ink.TEXT)),
    ]
    if link.rssi_dbm is not None:
        rows.append(_item(width, "RSSI", (number(link.rssi_dbm, 0, "dBm"), Ink.TEXT)))
    return rows


def _row(width: int, title: str, items: Sequence[Sequence[Run]]) -> Line:
    runs: list[Run] = [(f" {title:<10}", Ink.TITLE)]
    for place, item in enumerate(items):
        gap = 2 if place else 1
        if cells(runs) + gap + cells(item) > width:
            break
        runs += [(" " * gap, Ink.TEXT), *item]
    return line(width, *runs)


def _item(width: int, label: str, *runs: Run) -> Line:
    shown: list[Run] = [(f"  {label:<{_LABEL_CELLS}}", Ink.LABEL)]
    for run in runs:
        if cells([*shown, run]) <= width:
            shown.append(run)
    return line(width, *shown)


def _title(width: int, title: str, explained: str) -> str:
    return title + explained if len(title + explained) <= width else title


def _failsafe(link: ControlLink) -> list[Run]:
    if link.failsafe_active:
        return [(" FAILSAFE ACTIVE ", Ink.TROUBLE)]
    said = UNKNOWN if link.failsafe_active is None else "off"
    return [("failsafe ", Ink.LABEL), (f"{said}, had {_count(link.failsafe_count)}", Ink.TEXT)]


def _failsafe_item(link: ControlLink) -> tuple[str, Run, Run]:
    count = (f"  {_count(link.failsafe_count)} so far", Ink.FAINT)
    if link.failsafe_active:
        return "failsafe", (" ACTIVE ", Ink.TROUBLE), count
    said = UNKNOWN if link.failsafe_active is None else "off"
    return "failsafe", (said, Ink.TEXT), count


def _source(link: TelemetryLink) -> list[Run]:
    if link.state is None:
        return [(UNKNOWN, Ink.TEXT)]
    if link.state is not LinkState.CONNECTED:
        return [(f" {link.state.upper()} ", Ink.TROUBLE)]
    if not link.frames_per_s:
        return [("connected", Ink.STRONG)]
    return [(f"{link.frames_per_s:.0f}", Ink.STRONG), (" frames/s", Ink.TEXT)]


def _age(link: TelemetryLink) -> list[Run]:
    if link.age_s is not None and link.age_s >= SILENT_FROM_S:
        return [(f" SILENT {link.age_s:.1f} s ", Ink.TROUBLE)]
    return [("age ", Ink.LABEL), (number(link.age_s, 2, "s"), Ink.TEXT)]


def _stale_age(snapshot: Snapshot) -> str:
    reading = (snapshot.channels or {}).get("control_rssi_dbm")
    return "stale" if reading is None else ago(max(snapshot.at_s - reading.at_s, 0.0))


def _count(value: int | None) -> str:
    return UNKNOWN if value is None else str(value)


def _percent(ratio: float | None) -> str:
    return number(None if ratio is None else 100 * ratio, 1, "%")


def _milliseconds(seconds: float | None, *, sign: str = "") -> str:
    return f"{UNKNOWN} ms" if seconds is None else f"{sign}{1000 * seconds:.0f} ms"
