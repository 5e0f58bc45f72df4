"""Strip charts: a gutter with the axis, a plot, and thresholds as lines across it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from groundstation.radio.level import Limits
from groundstation.screens.drawing import axis as axes
from groundstation.screens.drawing.axis import Axis
from groundstation.screens.drawing.distance_chart import distance_chart
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.plots import area, band, row_of
from groundstation.screens.drawing.text import beside, line
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import Forecast
from groundstation.vehicle.traces import CourseTrace, Span, Traces

GUTTER = 8
"""Cells for the axis figures left of a plot."""

CAPTION_FROM_ROWS = 4
"""A chart of this many rows has its name above it; a lower one in its gutter."""

SECONDS_PER_CELL = 1.0
"""An 80-column screen shows half a minute, a 120-column one three quarters of one."""

_SOLID, _DASHED = "─", "╌"


@dataclass(frozen=True, slots=True)
class Limit:
    """A line across a plot."""

    value: float
    stroke: str = _SOLID
    ink: Ink = Ink.LIMIT


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """One strip chart, ready to be drawn at any size."""

    name: str
    short_name: str
    """Six letters at most, for a chart without a caption."""
    unit: str
    spans: Sequence[Span | None]
    axis: Axis
    limits: tuple[Limit, ...] = ()
    ink: Ink
    solid: Callable[[Span], float] | None = None
    """Which end of a span an area is drawn of; None draws the band between both ends."""


def layout(width: int, rows: int, *, wide: bool) -> list[tuple[int, int, tuple[str, ...]]]:
    """Return columns of charts: x, width, and the charts from top to bottom."""
    half = width // 2
    left: tuple[str, ...] = ("speed", "margin")
    right: tuple[str, ...] = ("yaw rate", "lateral")
    if wide and rows >= 9:
        right = ("yaw rate", "lateral", "vertical")
    elif rows < 6:
        left, right = ("speed",), ("margin",)
    else:
        left, right = ("speed", "yaw rate"), ("margin", "lateral")
    return [(0, half, left), (half, width - half, right)]


def charts(
    traces: Traces,
    *,
    unit: SpeedUnit,
    limits: Limits,
    full_scale_g: float | None,
    width: int,
    rows: int,
    wide: bool,
    course: tuple[CourseTrace, Forecast] | None = None,
) -> list[Line]:
    """Return all charts that fit.

    Args:
        traces: The last minutes.
        unit: How speed is shown.
        limits: Thresholds of the margin.
        full_scale_g: The accelerometer's, where it is known.
        width: In cells.
        rows: Of all charts together; under 3 nothing is drawn.
        wide: Whether there is room for all five.
        course: Where the distance is known: draws the margin over it on a wide screen.
    """
    if rows < 3 or width < 4 * GUTTER:
        return [line(width)] * rows
    columns = []
    for _, chart_width, names in layout(width, rows, wide=wide):
        drawn: list[Line] = []
        for place, name in enumerate(names):
            height = rows * (place + 1) // len(names) - rows * place // len(names)
            if course is not None and wide and "margin" in names:
                # The margin over distance has an axis of its own to find room for.
                margin_rows = max(rows * 3 // 5, rows // 2)
                height = margin_rows if name == "margin" else rows - margin_rows
                if name == "margin":
                    trace, forecast = course
                    drawn += distance_chart(
                        trace.places(), forecast, limits=limits, width=chart_width, rows=height
                    )
                    continue
            chart = _make(name, traces, chart_width - GUTTER - 1, unit, limits, full_scale_g)
            drawn += draw(chart, width=chart_width, rows=height)
        columns.append((chart_width, drawn))
    return beside(*columns)


def draw(chart: Chart, *, width: int, rows: int) -> list[Line]:
    """Return one chart of `rows` rows."""
    captioned = rows >= CAPTION_FROM_ROWS
    cells = len(chart.spans) if chart.solid else len(chart.spans) // 2
    plot_rows = rows - captioned
    drawn: list[Line] = []
    if captioned:
        caption = f" {chart.name} {chart.unit}, last {SECONDS_PER_CELL * cells:.0f} s"
        drawn.append(line(width, (caption, Ink.TITLE), pad=Ink.TITLE))
    if chart.solid:
        values = [None if span is None else chart.solid(span) for span in chart.spans]
        plot = area(values, chart.axis, plot_rows)
    else:
        plot = band(chart.spans, chart.axis, plot_rows)
    beyond = any(span[1] > chart.axis.high for span in chart.spans if span)
    head = f"{'≥' if beyond else ''}{chart.axis.high:g}"
    figures = {0: head, plot_rows - 1: f"{chart.axis.low:g}"}
    strokes: dict[int, Limit] = {}
    for limit in chart.limits:
        if chart.axis.low < limit.value < chart.axis.high:
            row = row_of(limit.value, chart.axis, plot_rows)
            strokes.setdefault(row, limit)
            if captioned:
                figures.setdefault(row, f"{limit.value:g}")
    name_row = None if captioned else plot_rows // 2
    for row, text in enumerate(plot):
        if row == name_row:
            gutter = (f" {chart.short_name:<{GUTTER - 2}}", Ink.LABEL)
        else:
            gutter = (f"{figures.get(row, ''):>{GUTTER - 2}} ", Ink.AXIS)
        tick = ("┤" if row in figures else "│", Ink.AXIS)
        runs = _crossed(text, chart.ink, strokes.get(row))
        drawn.append(line(width, gutter, tick, *runs))
    return drawn


def _make(
    name: str,
    traces: Traces,
    cells: int,
    unit: SpeedUnit,
    limits: Limits,
    full_scale_g: float | None,
) -> Chart:
    seconds = SECONDS_PER_CELL * cells
    zero = Limit(0.0, _DASHED, Ink.AXIS)
    if name == "speed":
        found = traces.columns("speed_mps", seconds=seconds, count=cells)
        spans = [s and (unit.from_mps(s[0]), unit.from_mps(s[1])) for s in found]
        axis = axes.from_zero(spans, least=50.0)
        return Chart(
            name=name,
            short_name=name,
            unit=str(unit),
            spans=spans,
            axis=axis,
            ink=Ink.SPEED_AREA,
            solid=max,
        )
    if name == "margin":
        spans = traces.columns("margin_db", seconds=seconds, count=cells)
        margins = (Limit(limits.required_margin_db), Limit(limits.lift_margin_db, _DASHED))
        return Chart(
            name=name,
            short_name=name,
            unit="dB",
            spans=spans,
            axis=axes.margin_axis(spans),
            limits=margins,
            ink=Ink.MARGIN_AREA,
            solid=min,
        )
    channel, short_name, shown_unit, ink, least = _BANDS[name]
    spans = traces.columns(channel, seconds=seconds, count=2 * cells)
    lines: tuple[Limit, ...] = (zero,)
    if name == "vertical" and full_scale_g:
        lines += (Limit(full_scale_g), Limit(-full_scale_g))
    axis = axes.both_ways(spans, least=least)
    return Chart(
        name=name,
        short_name=short_name,
        unit=shown_unit,
        spans=spans,
        axis=axis,
        limits=lines,
        ink=ink,
    )


_BANDS = {
    "yaw rate": ("yaw_rate_dps", "yaw", "deg/s", Ink.YAW_TRACE, 10.0),
    "lateral": ("accel_y_g", "lat g", "g", Ink.LATERAL_TRACE, 0.5),
    "vertical": ("accel_z_g", "vert g", "g", Ink.VERTICAL_TRACE, 2.0),
}


def _crossed(text: str, ink: Ink, limit: Limit | None) -> list[Run]:
    """Return a row of a plot with a threshold behind it: drawn where the plot is blank or full."""
    if limit is None:
        return [(text, ink)]
    runs: list[Run] = []
    for mark, group in groupby(text, key=lambda mark: mark if mark in " █" else ""):
        part = "".join(group)
        if mark == " ":
            runs.append((limit.stroke * len(part), limit.ink))
        elif mark == "█":
            runs.append((limit.stroke * len(part), Ink.MARGIN_LIMIT_CUT))
        else:
            runs.append((part, ink))
    return runs
