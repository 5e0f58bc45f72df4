"""What a plot shows, as data for the page's script.

Numbers go as little-endian 32-bit floats in base64: a quarter of the size of text, and nothing in
them can end a script block. Texts in them are escaped so that they cannot either.
"""

from __future__ import annotations

import json
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.report.markup import Markup, tag

Style = Literal["line", "dashed", "dotted", "dots", "rings", "arrows"]
"""Series are told apart by it, not by colour alone."""

Ink = Literal["speed", "margin", "yaw", "shock", "quiet", "alarm"]


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One curve or cloud of points."""

    name: str
    x: Floats
    """(n) increasing."""
    y: Floats
    """(n) NaN where a line is broken."""
    ink: Ink
    style: Style = "line"


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line straight across or straight up the plot."""

    at: float
    name: str
    ink: Ink = "quiet"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """One plot."""

    key: str
    """Of its element; letters and hyphens."""
    told: str
    """What of it is shown; stands behind `y_name`."""
    x_name: str
    y_name: str
    """Quantity and unit."""
    series: Sequence[Series]
    levels: Sequence[Stroke] = ()
    moments: Sequence[Stroke] = ()
    from_zero: bool = False
    joined: str | None = None
    """Plots of the same word zoom together."""
    height: int = 240


def figure(plot: Plot) -> Markup:
    """Return the place of a plot in the page."""
    name = f"{plot.y_name[0].upper()}{plot.y_name[1:]}"
    look = "plot single" if len(plot.series) == 1 else "plot"
    return tag(
        "figure",
        tag("figcaption", tag("b", name), f" {plot.told}"),
        tag("div", id=plot.key, class_=look, role="img", aria_label=f"{name} {plot.told}"),
    )


def data_block(plots: Sequence[Plot]) -> Markup:
    """Return all plots as a block of JSON that the page's script reads."""
    text = json.dumps([_plain(plot) for plot in plots], allow_nan=False, ensure_ascii=True)
    # In a script element only `</` and `<!--` mean anything to HTML; as escapes they mean nothing.
    for mark in "<>&":
        text = text.replace(mark, f"\\u{ord(mark):04x}")
    return Markup(f'<script type="application/json" id="plots">{text}</script>')


def packed(values: Floats) -> str:
    """Return numbers as base64 of little-endian 32-bit floats."""
    return b64encode(np.asarray(values, "<f4").tobytes()).decode("ascii")


def _plain(plot: Plot) -> dict[str, object]:
    return {
        "key": plot.key,
        "x": plot.x_name,
        "y": plot.y_name,
        "series": [
            {
                "name": each.name,
                "x": packed(each.x),
                "y": packed(each.y),
                "ink": each.ink,
                "style": each.style,
            }
            for each in plot.series
        ],
        "levels": [_stroke(each) for each in plot.levels],
        "moments": [_stroke(each) for each in plot.moments],
        "fromZero": plot.from_zero,
        "joined": plot.joined,
        "height": plot.height,
    }


def _stroke(stroke: Stroke) -> dict[str, object]:
    return {"at": stroke.at, "name": stroke.name, "ink": stroke.ink}
