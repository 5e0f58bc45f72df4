"""The control link along the course: where the margin was lowest, and why."""

from __future__ import annotations

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.session import PassAnalysis
from groundstation.report.envelope import envelope
from groundstation.report.markup import Child, Markup, long_table, tag
from groundstation.report.plots import Plot, Series, Stroke
from groundstation.report.section import Section, missing, section
from groundstation.report.words import UNKNOWN, Telling, direction, number, place, zero_words

MOST_ROWS = 12

_MOST = 6000
_LAW_POINTS = 200


def link_section(telling: Telling) -> Section:
    """Return the part about the control link."""
    analysis = telling.analysis
    why_not = analysis.why_not("link")
    if why_not:
        return section("The control link along the course", missing(why_not), key="link")
    link = analysis.link
    law = None
    if link.law is not None:
        law = tag(
            "p",
            "Over all passes the margin falls like distance to the power of "
            f"{link.law.exponent:.1f} (2 is free space, about 4 is usual with low aerials), "
            f"{link.law.margin_at_100m_db:.0f} dB at 100 m, mostly within "
            f"± {link.law.band_db:.0f} dB of that.",
        )
    return section(
        "The control link along the course",
        tag("p", f"{link.words[0].upper()}{link.words[1:]}."),
        law,
        _passes(telling),
        _plot(telling),
        key="link",
    )


def _passes(telling: Telling) -> Markup:
    rows: list[list[Child]] = []
    for one in telling.analysis.passes:
        lowest = one.lowest
        rows.append(
            [
                f"{one.span.number}",
                direction(one),
                tag("strong", number(lowest.margin_db)) if lowest else UNKNOWN,
                place(lowest.along_m) if lowest else UNKNOWN,
                telling.speed(lowest.speed_mps, 0) if lowest else UNKNOWN,
            ]
        )
    heads = ["pass", "way", "lowest margin, dB", "where", f"speed there, {telling.unit}"]
    caption = f"A single report each; {zero_words(telling)}."
    return long_table(heads, rows, most=MOST_ROWS, caption=caption)


def _plot(telling: Telling) -> Plot | None:
    analysis = telling.analysis
    clouds: dict[bool, list[tuple[Floats, Floats]]] = {True: [], False: []}
    for one in analysis.passes:
        clouds[one.forward is not False].append(_reports(telling, one))
    series = []
    for outward, name in ((True, "driven out"), (False, "driven back")):
        parts = clouds[outward]
        if not parts:
            continue
        x, y = (np.concatenate(column) for column in zip(*parts, strict=True))
        order = np.argsort(x, kind="stable")
        x, y = x[order], y[order]
        kept = envelope(y, _MOST)
        if len(kept):
            series.append(Series(name, x[kept], y[kept], "margin", "dots" if outward else "rings"))
    if not series:
        return None
    law = analysis.link.law
    if law is not None and analysis.record.driver is not None:
        low = min(float(each.x[0]) for each in series)
        high = max(float(each.x[-1]) for each in series)
        along_m = np.linspace(low, high, _LAW_POINTS)
        margins_db = law.margin_db(np.maximum(np.abs(along_m), 10.0))
        series.append(Series("what the distance explains", along_m, margins_db, "quiet", "dashed"))
    required_db = analysis.record.profile.limits.required_margin_db
    return Plot(
        key="link-plot",
        told=f"each report, by place; the line across is the required {required_db:g} dB",
        x_name="place on the course, m",
        y_name="control link margin, dB",
        series=series,
        levels=[Stroke(required_db, "", "alarm")],
        from_zero=True,
    )


def _reports(telling: Telling, one: PassAnalysis) -> tuple[Floats, Floats]:
    record = telling.analysis.record
    radio = record.radio.between(one.span.start_s, one.span.end_s)
    margins_db = radio["control_rssi_dbm"] - (record.threshold_dbm or np.nan)
    if len(one.place) < 2:
        return np.empty(0), np.empty(0)
    along_m = np.interp(radio.t_s, one.place.t_s, one.place["along_m"])
    known = ~np.isnan(margins_db) & ~np.isnan(along_m)
    return along_m[known], margins_db[known]
