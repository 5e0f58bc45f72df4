"""How fast, really: peaks with their error, measured distances, the mean of two directions."""

from __future__ import annotations

import numpy as np

from groundstation.analysis.session import PassAnalysis
from groundstation.analysis.two_way import BY_SPEED, BY_TIME, RULES_DIFFER
from groundstation.report.markup import Child, Markup, joined, long_table, table, tag
from groundstation.report.plots import Ink, Plot, Series, Stroke, Style
from groundstation.report.section import Section, missing, section
from groundstation.report.words import UNKNOWN, Telling, direction, number

MOST_CURVES = 5
"""More passes than these lie over one another and tell nothing."""

MOST_ROWS, MOST_SPIKES = 24, 6
"""What is more is folded away."""

CURVE_STEP_M = 0.5

_LOOKS: tuple[tuple[Ink, Style], ...] = (
    ("speed", "line"),
    ("speed", "dashed"),
    ("speed", "dotted"),
    ("quiet", "line"),
    ("quiet", "dashed"),
)


def speed_section(telling: Telling) -> Section:
    """Return the part about speed."""
    analysis = telling.analysis
    why_not = analysis.why_not("speed")
    if why_not:
        return section("How fast, really", missing(why_not), key="speed")
    return section(
        "How fast, really",
        tag(
            "p",
            "Peaks are those of the true curve, from satellite, wheel and accelerometer together; "
            "± is the half of the 95 % interval. What single sensors said at most stands beside.",
        ),
        _passes(telling),
        _spikes(telling),
        _two_way(telling),
        _curves(telling),
        key="speed",
    )


def _passes(telling: Telling) -> Markup:
    unit, trap_m = telling.unit, telling.analysis.questions.trap_m
    over = "fastest 20 m" if trap_m is None else f"{trap_m[0]:g} to {trap_m[1]:g} m"
    rows: list[list[Child]] = []
    for one in telling.analysis.passes:
        speed, timed = one.speed, one.timed
        rows.append(
            [
                f"{one.span.number}",
                telling.clock(one.span.start_s),
                direction(one),
                tag("strong", telling.peak(speed)),
                telling.speed(speed.satellite_max_mps) if speed else UNKNOWN,
                telling.speed(speed.wheel_max_mps) if speed else UNKNOWN,
                telling.speed_with_error(timed.speed_mps, 1.96 * timed.sigma_mps)
                if timed
                else UNKNOWN,
                number(one.way_m, 0),
            ]
        )
    heads = ["pass", "at", "way", f"peak, {unit}", "satellite at most", "wheel at most"]
    return long_table([*heads, f"{over}, {unit}", "driven, m"], rows, most=MOST_ROWS)


def _spikes(telling: Telling) -> Markup | None:
    lines = []
    for one in telling.analysis.passes:
        for spike in one.speed.spikes if one.speed else ():
            side = "above" if spike.over_mps > 0.0 else "below"
            lines.append(
                tag(
                    "li",
                    f"pass {one.span.number}, at {telling.clock(spike.at_s)}: "
                    f"{telling.speed(spike.speed_mps)} {telling.unit}, "
                    f"{telling.speed(abs(spike.over_mps))} {side} what the other sensors allow",
                )
            )
    if not lines:
        return None
    told = tag("p", "Satellite speeds that were rejected as spikes:")
    if len(lines) <= MOST_SPIKES:
        return joined(told, tag("ul", *lines))
    more = tag("summary", f"{len(lines) - MOST_SPIKES} more")
    return joined(
        told,
        tag("ul", *lines[:MOST_SPIKES]),
        tag("details", more, tag("ul", *lines[MOST_SPIKES:])),
    )


def _two_way(telling: Telling) -> Markup:
    mean = telling.analysis.two_way
    if mean is None:
        return tag(
            "p",
            "No mean of two directions: it takes two opposite passes within one hour that both "
            "covered the distance.",
            class_="missing",
        )
    unit = telling.unit
    rows: list[list[Child]] = [
        [BY_TIME, telling.speed_with_error(mean.by_time_mps, 1.96 * mean.by_time_sigma_mps)],
        [BY_SPEED, telling.speed_with_error(mean.by_speed_mps, 1.96 * mean.by_speed_sigma_mps)],
    ]
    numbers = f"{mean.first.pass_number} and {mean.second.pass_number}"
    return joined(
        tag("h3", "Mean of two directions"),
        table(
            [f"passes {numbers}, {mean.apart_s:.0f} s apart", str(unit)],
            rows,
        ),
        tag("p", f"{RULES_DIFFER[0].upper()}{RULES_DIFFER[1:]}.", class_="under"),
        *(tag("p", f"{each[0].upper()}{each[1:]}.") for each in mean.remarks),
    )


def _curves(telling: Telling) -> Plot | None:
    known = [one for one in telling.analysis.passes if one.speed is not None]
    by_place = telling.analysis.course is not None and all(
        np.any(~np.isnan(one.place["along_m"])) for one in known
    )
    chosen = sorted(known, key=lambda one: -one.speed.peak.speed_mps)[:MOST_CURVES]  # type: ignore[union-attr]
    series = []
    chosen.sort(key=lambda one: one.span.number)
    for (ink, style), one in zip(_LOOKS, chosen, strict=False):
        x, y = _curve(one, by_place=by_place)
        name = f"pass {one.span.number} {direction(one)}".removesuffix(f" {UNKNOWN}")
        series.append(Series(name, x, telling.unit.per_mps * y, ink, style))
    if not series:
        return None
    trap_m = telling.analysis.questions.trap_m
    told = "along the course" if by_place else "since the pass began"
    if len(known) > MOST_CURVES:
        told += f", the {MOST_CURVES} fastest of {len(known)} passes"
    return Plot(
        key="speed-plot",
        told=told,
        x_name="place on the course, m" if by_place else "since the pass began, s",
        y_name=f"speed, {telling.unit}",
        series=series,
        moments=[Stroke(each, "trap") for each in trap_m] if trap_m and by_place else [],
        from_zero=True,
    )


def _curve(one: PassAnalysis, *, by_place: bool) -> tuple[np.ndarray, np.ndarray]:
    speed = one.speed
    assert speed is not None
    inside = (speed.t_s >= one.span.start_s) & (speed.t_s <= one.span.end_s)
    t_s, speed_mps = speed.t_s[inside], speed.speed_mps[inside]
    if not by_place:
        return t_s - one.span.start_s, speed_mps
    known = ~np.isnan(one.place["along_m"])
    along_m = np.interp(t_s, one.place.t_s[known], one.place["along_m"][known])
    # Fixes of a standing car wander: one value each half metre, the highest.
    cells, first = np.unique(np.floor(along_m / CURVE_STEP_M), return_inverse=True)
    highest = np.full(len(cells), -np.inf)
    np.maximum.at(highest, first, speed_mps)
    return (cells + 0.5) * CURVE_STEP_M, highest
