"""Small pictures of a pass for the terminal: an area over the course, its axis, a limit across."""

from __future__ import annotations

from math import floor

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.report.words import Telling, number
from groundstation.screens.drawing.axis import Axis, round_up
from groundstation.screens.drawing.plots import area, row_of

GUTTER = 7
ROWS = 6


def pictures(telling: Telling, *, width: int) -> list[str]:
    """Return speed and margin of the fastest pass, one above the other; nothing without a pass."""
    one = telling.analysis.fastest
    if one is None or one.speed is None or len(one.place) < 2:
        return []
    record, speed = telling.analysis.record, one.speed
    known = ~np.isnan(one.place["along_m"])
    t_s, along_m = one.place.t_s[known], one.place["along_m"][known]
    if len(t_s) < 2:
        return []
    ends_m = float(along_m.min()), float(along_m.max())
    cells = width - GUTTER - 1
    shown = telling.unit.per_mps * np.interp(t_s, speed.t_s, speed.speed_mps)
    values = _by_cell(along_m, shown, ends_m, cells, highest=True)
    axis = Axis(0.0, round_up(max(v for v in values if v is not None), least=50.0))
    drawn = [f"pass {one.span.number}: speed {telling.unit}", *_plot(values, axis)]
    radio = record.radio.between(one.span.start_s, one.span.end_s)
    if record.threshold_dbm is not None and len(radio):
        margins_db = radio["control_rssi_dbm"] - record.threshold_dbm
        heard = ~np.isnan(margins_db)
        places_m = np.interp(radio.t_s[heard], t_s, along_m)
        margins = _by_cell(places_m, margins_db[heard], ends_m, cells, highest=False)
        known_db = [each for each in margins if each is not None]
        if known_db:
            required_db = record.profile.limits.required_margin_db
            axis = Axis(min(20.0 * floor(min(known_db) / 20.0), 0.0), 40.0)
            head = f"pass {one.span.number}: margin dB, up to 40; the line is {required_db:g} dB"
            drawn += [head, *_plot(margins, axis, level=required_db)]
    where = "m along the course" if telling.analysis.course else "m since the pass began"
    left, right = (number(each, 0) for each in ends_m)
    room = max(cells - len(left) - len(right), 1)
    return [*drawn, " " * (GUTTER + 1) + left + where.center(room)[:room] + right]


def _by_cell(
    along_m: Floats, values: Floats, ends_m: tuple[float, float], cells: int, *, highest: bool
) -> list[float | None]:
    """Return one value a cell; cells in which nothing was heard take what lies beside them."""
    length_m = max(ends_m[1] - ends_m[0], 1e-9)
    cell = np.clip(((along_m - ends_m[0]) / length_m * cells).astype(int), 0, cells - 1)
    found = np.full(cells, -np.inf if highest else np.inf)
    (np.maximum if highest else np.minimum).at(found, cell, values)
    known = np.isfinite(found)
    if not known.any():
        return [None] * cells
    rows = np.arange(cells)
    filled = np.interp(rows, rows[known], found[known])
    return [float(each) for each in filled]


def _plot(values: list[float | None], axis: Axis, *, level: float | None = None) -> list[str]:
    plot = area(values, axis, ROWS)
    figures = {0: f"{axis.high:g}", ROWS - 1: f"{axis.low:g}"}
    if level is not None:
        row = row_of(level, axis, ROWS)
        plot[row] = plot[row].replace(" ", "╌").replace("█", "━")
        figures.setdefault(row, f"{level:g}")
    return [
        f"{figures.get(row, ''):>{GUTTER - 1}} {'┤' if row in figures else '│'}{text}"
        for row, text in enumerate(plot)
    ]
