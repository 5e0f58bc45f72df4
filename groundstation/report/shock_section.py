"""Shocks by place: the same joint hit again, and what was too hard to be measured."""

from __future__ import annotations

import numpy as np

from groundstation.analysis.shocks import Joint, Shock
from groundstation.report.markup import Child, Markup, table, tag
from groundstation.report.plots import Plot, Series
from groundstation.report.section import Section, missing, section
from groundstation.report.words import Telling, number, place, shock_short, zero_words

MOST_JOINTS = 12
MOST_NUMBERS = 8
"""Passes named one by one."""


def shock_section(telling: Telling) -> Section:
    """Return the part about shocks."""
    analysis = telling.analysis
    why_not = analysis.why_not("shocks")
    if why_not:
        return section("Shocks by place", missing(why_not), key="shocks")
    shocks = [each for one in analysis.passes for each in one.shocks]
    if not shocks:
        return section(
            "Shocks by place", tag("p", "No shock stood out from the roughness."), key="shocks"
        )
    clipped = sum(each.clipped for each in shocks)
    warning = None
    if clipped:
        warning = tag(
            "p",
            tag("strong", f"{clipped} of {len(shocks)} shocks went beyond the accelerometer"),
            ": they were at least as hard as told, how hard was not measured.",
        )
    return section(
        "Shocks by place",
        warning,
        _joints(telling),
        _plot(telling, shocks),
        _roughness(telling),
        key="shocks",
    )


def _joints(telling: Telling) -> Markup:
    joints = sorted(telling.analysis.joints, key=_severity, reverse=True)
    rows: list[list[Child]] = [
        [
            place(each.along_m),
            tag("strong", shock_short(each.worst)),
            telling.speed(each.worst.speed_mps, 0),
            _pass_words(each.passes),
            "yes" if each.hit_again else "no",
        ]
        for each in joints[:MOST_JOINTS]
    ]
    caption = f"The hardest places; {zero_words(telling)}."
    if len(joints) > MOST_JOINTS:
        caption = f"The {MOST_JOINTS} hardest of {len(joints)} places; {zero_words(telling)}."
    heads = ["place", "hardest", f"speed, {telling.unit}", "in passes", "hit again"]
    return table(heads, rows, caption=caption)


def _pass_words(numbers: tuple[int, ...]) -> str:
    if len(numbers) > MOST_NUMBERS:
        return f"{len(numbers)} of them"
    return ", ".join(map(str, numbers))


def _severity(joint: Joint) -> tuple[bool, float]:
    return joint.worst.clipped, joint.worst.size_g


def _plot(telling: Telling, shocks: list[Shock]) -> Plot | None:
    placed = sorted(
        (each for each in shocks if each.along_m is not None), key=lambda each: each.along_m or 0.0
    )
    series = []
    for name, clipped in (("measured", False), ("clipped: at least", True)):
        chosen = [each for each in placed if each.clipped is clipped]
        if chosen:
            series.append(
                Series(
                    name,
                    np.array([each.along_m for each in chosen]),
                    np.array([each.size_g for each in chosen]),
                    "alarm" if clipped else "shock",
                    "arrows" if clipped else "dots",
                )
            )
    if not series:
        return None
    return Plot(
        key="shock-plot",
        told="by place; an arrow up is a shock that was clipped",
        x_name="place on the course, m",
        y_name="shock, g up or down",
        series=series,
        from_zero=True,
        height=200,
    )


def _roughness(telling: Telling) -> Plot | None:
    cells = telling.analysis.roughness
    if len(cells) < 2:
        return None
    middles_m = np.array([0.5 * (each.from_m + each.to_m) for each in cells])
    sizes_g = np.array([each.rms_g for each in cells])
    return Plot(
        key="roughness-plot",
        told="roughness of each ten metres, over all passes; a faster car is shaken more",
        x_name="place on the course, m",
        y_name="vertical acceleration, g rms",
        series=[Series("rms", middles_m, sizes_g, "shock")],
        from_zero=True,
        height=160,
    )


def shocks_words(telling: Telling) -> str:
    """Return the hardest shock of the session in a few words."""
    hardest = [one.hardest for one in telling.analysis.passes if one.hardest is not None]
    worst = max(hardest, key=lambda each: (each.clipped, each.size_g), default=None)
    if worst is None:
        return number(None)
    at = "" if worst.along_m is None else f" at {place(worst.along_m)}"
    return f"{shock_short(worst)}{at}"
