"""What came first, when a session ended badly; else one line that it did not."""

from __future__ import annotations

import numpy as np

from groundstation.analysis.incident import LONGEST_S, Incident
from groundstation.analysis.incident_departure import Departure, Subject
from groundstation.report.envelope import shortened
from groundstation.report.markup import Child, Markup, joined, table, tag
from groundstation.report.notable import notable
from groundstation.report.plots import Ink, Plot, Series, Stroke
from groundstation.report.section import Section, section
from groundstation.report.words import Telling

BEFORE_S = 1.0
"""Shown before the first departure, at least."""

_MOST = 4000


def incident_section(telling: Telling) -> Section:
    """Return the part about how the session ended."""
    incident = telling.analysis.incident
    if incident is None:
        return section(
            "Was anything wrong?",
            tag(
                "p",
                "The last pass ended on its wheels, in sight of the telemetry and without failsafe."
                if telling.analysis.passes
                else "There was no pass, so nothing is said about its end.",
            ),
            notable_list(telling),
            key="end",
        )
    rows: list[list[Child]] = [
        [f"{each.before_end_s:.1f} s", each.subject, each.words.partition(": ")[2] or each.words]
        for each in incident.departures
    ]
    return section(
        "What came first?",
        tag("p", tag("strong", f"{incident.order_words[0].upper()}{incident.order_words[1:]}.")),
        tag(
            "p",
            "What left its normal range in the last pass, in the order in which it began. It is an "
            "order of events, not their cause.",
        ),
        tag("div", table(["before the end", "what", "seen"], rows), class_="words"),
        _position(incident),
        *_strips(telling, incident),
        notable_list(telling),
        key="end",
    )


def notable_list(telling: Telling) -> Markup | None:
    """Return what else was out of the ordinary."""
    found = notable(telling)
    if not found:
        return None
    return joined(
        tag("p", "Out of the ordinary:"),
        tag("ul", *(tag("li", f"{each[0].upper()}{each[1:]}.") for each in found)),
    )


def _position(incident: Incident) -> Markup | None:
    position = incident.position
    if position is None:
        return tag("p", "Where the car lies is not known: no usable fix was heard.")
    coordinates = f"{position.latitude_deg:.6f},{position.longitude_deg:.6f}"
    words = position.words
    return joined(
        tag("h3", "Where is the car?"),
        tag("p", f"{words[0].upper()}{words[1:]}."),
        tag("p", tag("a", f"Position for a map: {coordinates}", href=f"geo:{coordinates}")),
    )


def _strips(telling: Telling, incident: Incident) -> list[Plot]:
    """Return the last seconds, a strip a quantity, with a stroke where each left its range."""
    analysis = telling.analysis
    record = analysis.record
    earliest_s = min((each.onset_s for each in incident.departures), default=incident.end_s - 4.0)
    start_s = max(earliest_s - max(BEFORE_S, 0.3 * (incident.end_s - earliest_s)), 0.0)
    start_s = max(start_s, incident.end_s - LONGEST_S - BEFORE_S)
    motion = record.motion.between(start_s, incident.end_s + 1.0)
    radio = record.radio.between(start_s, incident.end_s + 1.0)
    threshold_dbm = record.threshold_dbm
    moments = [
        Stroke(each.onset_s - incident.end_s, each.subject, "alarm")
        for each in _first_of_each(incident)
    ]
    wanted: list[tuple[str, str, np.ndarray, np.ndarray, Ink]] = [
        (
            "speed",
            f"speed, {telling.unit}",
            motion.t_s,
            telling.unit.per_mps * motion["speed_mps"],
            "speed",
        ),
        ("yaw", "yaw rate, deg/s", motion.t_s, motion["yaw_rate_dps"], "yaw"),
        ("vertical", "vertical acceleration, g", motion.t_s, motion["accel_z_g"], "shock"),
        (
            "margin",
            "control link margin, dB",
            radio.t_s,
            radio["control_rssi_dbm"] - (threshold_dbm or np.nan),
            "margin",
        ),
    ]
    found = []
    for key, name, t_s, values, ink in wanted:
        x, y = shortened(t_s, values, [], most=_MOST)
        if len(x) < 2:
            continue
        found.append(
            Plot(
                key=f"end-{key}-plot",
                told="in the last seconds",
                x_name="seconds, the end is 0",
                y_name=name,
                series=[Series(name.partition(",")[0], x - incident.end_s, y, ink)],
                moments=moments,
                joined="end",
                height=170,
            )
        )
    return found


def _first_of_each(incident: Incident) -> list[Departure]:
    seen, found = set[Subject](), list[Departure]()
    for each in incident.departures:
        if each.subject not in seen:
            seen.add(each.subject)
            found.append(each)
    return found
