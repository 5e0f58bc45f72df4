"""The whole session over time, and what it says beside its frames: set-up, notes, check, marks."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from groundstation.analysis.passes import speed_over_time
from groundstation.report.envelope import shortened
from groundstation.report.markup import Child, Markup, joined, table, tag
from groundstation.report.plots import Ink, Plot, Series, Stroke
from groundstation.report.section import Section, section
from groundstation.report.words import Telling
from groundstation.wording import clock_text
from protocol import standard_table

MOST_POINTS = 40_000
"""Of a strip: seven minutes at 100 Hz whole, an hour of passes nearly whole."""

MOST_OWN = 24
"""Strips of a builder's own channels."""

MOST_EVENTS = 200
MOST_STROKES = 40


def strips_section(telling: Telling) -> Section:
    """Return the session over time, a strip a quantity; they zoom together."""
    analysis = telling.analysis
    record = analysis.record
    motion, radio, power = record.motion, record.radio, record.power
    spans = [each.span for each in analysis.passes]
    ahead_s = telling.sheet.ahead_s
    moving_s, speed_mps = speed_over_time(record)
    wanted: list[tuple[str, str, np.ndarray, np.ndarray, Ink]] = [
        (
            "speed",
            f"speed, {telling.unit}",
            moving_s,
            telling.unit.per_mps * speed_mps,
            "speed",
        ),
        ("yaw", "yaw rate, deg/s", motion.t_s, motion["yaw_rate_dps"], "yaw"),
        ("lateral", "lateral acceleration, g", motion.t_s, motion["accel_y_g"], "yaw"),
        ("vertical", "vertical acceleration, g", *_peaks(telling), "shock"),
        (
            "margin",
            "control link margin, dB",
            radio.t_s,
            radio["control_rssi_dbm"] - (record.threshold_dbm or np.nan),
            "margin",
        ),
        ("pack", "pack voltage, V", power.t_s, power["pack_voltage_v"], "quiet"),
    ]
    wanted += _own_channels(telling)
    marks = [
        Stroke(each.at_s, each.text[:30]) for each in telling.sheet.events if each.kind == "mark"
    ]
    plots = []
    for key, name, t_s, values, ink in wanted:
        x, y = shortened(t_s, values, spans, most=MOST_POINTS)
        if len(x) < 2:
            continue
        short = name.partition(",")[0]
        plots.append(
            Plot(
                key=f"strip-{key}-plot",
                told="over the whole session",
                x_name="session clock, s",
                y_name=name,
                series=[Series(short, x + ahead_s, y, ink)],
                moments=marks[:MOST_STROKES],
                joined="session",
                height=150,
            )
        )
    if not plots:
        return section(
            "The whole session", tag("p", "Nothing was measured.", class_="missing"), key="session"
        )
    return section("The whole session", *plots, key="session")


def _own_channels(telling: Telling) -> list[tuple[str, str, np.ndarray, np.ndarray, Ink]]:
    """Return the channels of a builder's own kinds, which are shown like the rest."""
    found: list[tuple[str, str, np.ndarray, np.ndarray, Ink]] = []
    for name, columns in telling.analysis.record.kinds.items():
        if name in standard_table().by_name:
            continue
        for channel, values in columns.values.items():
            key = f"own-{len(found)}"
            found.append((key, channel.replace("_", " "), columns.t_s, values, "quiet"))
    return found[:MOST_OWN]


def _peaks(telling: Telling) -> tuple[np.ndarray, np.ndarray]:
    """Return vertical acceleration with the peaks that the car held between two frames."""
    motion = telling.analysis.record.motion
    now_g, high_g, low_g = (
        motion[name] for name in ("accel_z_g", "accel_z_max_g", "accel_z_min_g")
    )
    if np.all(np.isnan(high_g)) and np.all(np.isnan(low_g)):
        return motion.t_s, now_g
    t_s = np.repeat(motion.t_s, 2)
    t_s[1::2] += 0.001
    return t_s, np.column_stack(
        [np.where(np.isnan(high_g), now_g, high_g), np.where(np.isnan(low_g), now_g, low_g)]
    ).ravel()


def sheet_section(telling: Telling) -> Section:
    """Return what the session says beside its frames."""
    sheet = telling.sheet
    return section(
        "Set-up, notes and what happened",
        _setup(sheet.flat_setup),
        _notes(sheet.notes),
        _check(telling),
        _events(telling),
        key="sheet",
    )


def _setup(flat: Mapping[str, str]) -> Markup:
    if not flat:
        return tag(
            "p",
            "There is no set-up sheet with this session; ",
            tag("code", "live --setup FILE"),
            " keeps one, so that passes can be compared.",
            class_="missing",
        )
    rows: list[list[Child]] = [[key, value] for key, value in flat.items()]
    return tag("div", table(["set-up sheet", ""], rows), class_="words")


def _notes(notes: tuple[str, ...]) -> Markup | None:
    if not notes:
        return None
    return joined(tag("h3", "Notes"), *(tag("p", each) for each in notes))


def _check(telling: Telling) -> Markup:
    check = telling.sheet.check_of(telling.analysis.record.name)
    words = telling.sheet.check_words
    if check is None:
        said = words or "no range check is kept with this session"
        return joined(tag("h3", "Range check"), tag("p", f"{said[0].upper()}{said[1:]}."))
    bound, figures = check.get("bound"), check.get("figures")
    rows: list[list[Child]] = [
        ["verdict", tag("strong", str(check.get("verdict")))],
        ["checked", str(check.get("checked"))],
    ]
    if isinstance(bound, Mapping):
        rows += [[key, str(bound[key])] for key in ("place", "pack") if bound.get(key)]
    if isinstance(figures, Mapping):
        rows += [
            [str(key).replace("_", " "), f"{value:.1f}"]
            for key, value in figures.items()
            if isinstance(value, int | float)
        ]
    return joined(
        tag("h3", "Range check"),
        tag("p", f"When the session began: {words}.") if words else None,
        tag("div", table(["check", ""], rows), class_="words"),
    )


def _events(telling: Telling) -> Markup | None:
    events = telling.sheet.events
    if not events:
        return None
    rows: list[list[Child]] = [
        [clock_text(each.at_s), each.kind, each.text] for each in events[:MOST_EVENTS]
    ]
    more = len(events) - MOST_EVENTS
    return joined(
        tag("h3", "What happened"),
        tag("div", table(["at", "what", ""], rows), class_="words"),
        tag("p", f"{more} more are in the session.", class_="missing") if more > 0 else None,
    )
