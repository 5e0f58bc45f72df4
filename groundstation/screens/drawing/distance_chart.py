"""The margin over distance: what was measured, the fitted line, its band, and the places.

Measured margins are dots, the fit a heavy line, its band hatched, limits thin lines: all are told
apart by shape.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from math import log10

from groundstation.radio.forecast import QUANTILE_5
from groundstation.radio.level import Limits
from groundstation.screens.drawing.axis import Axis, margin_axis
from groundstation.screens.drawing.course import cell_of, figure_steps, landmarks, scale_end_m
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.plots import band, row_of
from groundstation.screens.drawing.text import line
from groundstation.vehicle.snapshot import Forecast, LinkFit
from groundstation.vehicle.traces import COURSE_BIN_M, Span

GUTTER = 8
FIGURES_FROM_ROWS = 8
"""A lower chart has its distances in its caption only."""

_FIT = "▔━▁"
"""The fit in the upper, middle and lower third of a row."""

BAND_FROM_ROWS = 8
"""In fewer rows the band is no more than patches."""


def distance_chart(
    places: Sequence[tuple[float, Span]],
    forecast: Forecast,
    *,
    limits: Limits,
    width: int,
    rows: int,
) -> list[Line]:
    """Return the chart.

    Args:
        places: Distances in metres with the margins measured there, dB.
        forecast: Gives the fit and the places on the axis.
        limits: Lines across the plot.
        width: In cells.
        rows: With caption and axis; under 4 or in a narrow box nothing is drawn.
    """
    count = width - GUTTER - 1
    if rows < 4 or count < 8:
        return [line(width)] * rows
    end_m = scale_end_m(forecast)
    with_figures = rows >= FIGURES_FROM_ROWS
    plot_rows = rows - 2 - with_figures
    spans = _columns(places, end_m, 2 * count)
    axis = margin_axis(spans)
    grid = _plot(spans, forecast.fit, limits, axis, end_m=end_m, size=(count, plot_rows))
    figures = {0: f"{axis.high:g}", plot_rows - 1: f"{axis.low:g}"}
    for limit_db in (limits.required_margin_db, limits.lift_margin_db):
        if axis.low < limit_db < axis.high:
            figures.setdefault(row_of(limit_db, axis, plot_rows), f"{limit_db:g}")
    caption = f" margin dB over distance, 0 to {end_m:.0f} m"
    legend = "   ⣿ measured  ━ fit"
    if plot_rows >= BAND_FROM_ROWS:
        legend += "  ░ 9 of 10 within"
    if len(caption) + len(legend) < width and forecast.fit is not None:
        caption += legend
    drawn = [line(width, (caption, Ink.TITLE), pad=Ink.TITLE)]
    for row, runs in enumerate(grid):
        gutter = (f"{figures.get(row, ''):>{GUTTER - 2}} ", Ink.AXIS)
        tick = ("┤" if row in figures else "│", Ink.AXIS)
        drawn.append(line(width, gutter, tick, *runs))
    foot: list[Run] = [("─", Ink.AXIS)] * count
    for place in landmarks(forecast):
        if place.at_m <= end_m:
            foot[cell_of(place.at_m, end_m, count)] = (place.mark, place.ink)
    drawn.append(line(width, (" " * (GUTTER - 1), Ink.TEXT), ("└", Ink.AXIS), *foot))
    if with_figures:
        drawn.append(line(width, (_distances(end_m, count), Ink.AXIS)))
    return drawn


def _columns(places: Sequence[tuple[float, Span]], end_m: float, count: int) -> list[Span | None]:
    """Return the extremes of each column; a place covers all columns that its bin reaches."""
    columns: list[Span | None] = [None] * count
    for at_m, span in places:
        first = int((at_m - COURSE_BIN_M / 2) / end_m * count)
        last = int((at_m + COURSE_BIN_M / 2) / end_m * count - 1e-9)
        for column in range(max(first, 0), min(max(last, first) + 1, count)):
            held = columns[column] or span
            columns[column] = (min(held[0], span[0]), max(held[1], span[1]))
    return columns


def _plot(
    spans: Sequence[Span | None],
    fit: LinkFit | None,
    limits: Limits,
    axis: Axis,
    *,
    end_m: float,
    size: tuple[int, int],
) -> list[list[Run]]:
    count, rows = size
    grid: list[list[Run]] = [[(" ", Ink.TEXT)] * count for _ in range(rows)]
    if fit is not None and rows >= BAND_FROM_ROWS:
        for column in range(count):
            _draw_band(grid, column, fit, axis, (column + 0.5) / count * end_m)
    for limit_db, stroke in ((limits.lift_margin_db, "╌"), (limits.required_margin_db, "─")):
        if axis.low < limit_db < axis.high:
            row = row_of(limit_db, axis, rows)
            grid[row] = [(stroke, Ink.LIMIT)] * count
    if fit is not None:
        for column in range(count):
            _draw_fit(grid, column, fit, axis, (column + 0.5) / count * end_m)
    for row, text in enumerate(band(spans, axis, rows)):
        for column, mark in enumerate(text):
            if mark != " ":
                grid[row][column] = (mark, Ink.MARGIN_AREA)
    return [
        [("".join(mark for mark, _ in group), ink) for ink, group in groupby(row, lambda r: r[1])]
        for row in grid
    ]


def _expected_db(fit: LinkFit, at_m: float) -> float:
    """Return the margin of the log-distance law, which holds from one metre on."""
    return fit.margin_at_1m_db - 10.0 * fit.exponent * log10(max(at_m, 1.0))


def _draw_band(grid: list[list[Run]], column: int, fit: LinkFit, axis: Axis, at_m: float) -> None:
    rows, middle_db = len(grid), _expected_db(fit, at_m)
    half_db = QUANTILE_5 * fit.sigma_db
    if middle_db - half_db > axis.high or middle_db + half_db < axis.low:
        return
    top, foot = row_of(middle_db + half_db, axis, rows), row_of(middle_db - half_db, axis, rows)
    for row in range(top, foot + 1):
        grid[row][column] = ("░", Ink.AXIS)


def _draw_fit(grid: list[list[Run]], column: int, fit: LinkFit, axis: Axis, at_m: float) -> None:
    value_db = _expected_db(fit, at_m)
    if axis.low <= value_db <= axis.high:
        rows = len(grid)
        third = min(int((1.0 - axis.share(value_db)) * rows * 3), rows * 3 - 1)
        grid[third // 3][column] = (_FIT[third % 3], Ink.STRONG)


def _distances(end_m: float, count: int) -> str:
    text = " " * (GUTTER + count + 1)
    steps = figure_steps(end_m)
    for share in range(steps + 1):
        figure = f"{end_m * share / steps:.0f}" + (" m" if share == steps else "")
        start = GUTTER + cell_of(end_m * share / steps, end_m, count)
        start = min(start, GUTTER + count - len(figure))
        text = text[:start] + figure + text[start + len(figure) :]
    return text
