"""Whether a session ended badly: cheap enough to ask for every session of a list.

Rule: only what happened while the car moved counts. A transmitter that is switched off beside a
standing car, or a car that is carried upside down, is no incident.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.incident_onset import Excursion, excursions
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Record

UPRIGHT_LEAST_G = 0.45
"""A car on its wheels feels 1 g upward on average, however rough the road; rolling or flying it
feels none, on its roof -1."""
OFF_WHEELS_CERTAIN_S = 0.06
"""Longer than the drop behind a bump (common practice, no source)."""
STRUCK_S = 0.1
"""A blow from below may look like weight for so long, and the car rolls on. No longer: the drops
behind the joints of a road must not add up."""
AFTER_PASS_S = 3.0
"""A car that rolls while its wheels run down still belongs to the pass."""
LANDED_S = 0.8
LANDED_G = 0.6
"""A car that jumped feels its weight again: so much or more, in the median of so long."""


@dataclass(frozen=True, slots=True)
class BadEnd:
    """How the last pass ended."""

    reason: str
    """In plain words."""
    end_s: float
    """Vehicle clock: the last that was heard, or when the car stood."""


def ended_badly(record: Record, spans: list[PassSpan]) -> str | None:
    """Return in words why the session's last pass ended badly; None where it did not."""
    bad = bad_end(record, spans)
    return None if bad is None else bad.reason


def bad_end(record: Record, spans: list[PassSpan]) -> BadEnd | None:
    """Return how the last pass ended badly; None where it did not, or where there was no pass."""
    heard = record.ends_s()
    if not spans or heard is None:
        return None
    span = spans[-1]
    reasons = []
    rolled = rolled_over(record.motion.between(span.start_s, span.end_s + AFTER_PASS_S))
    if rolled is not None:
        reasons.append("the car rolled over")
    failsafe_s = last_failsafe_s(record)
    if failsafe_s is not None and span.start_s <= failsafe_s <= span.end_s:
        reasons.append("failsafe began during the pass and stayed")
    if span.ended_in_silence:
        ran_on = heard[1] - span.end_s > AFTER_PASS_S
        reasons.append(
            "the telemetry fell silent while the car was moving"
            if ran_on
            else "the telemetry ended while the car was moving"
        )
    if not reasons:
        return None
    return BadEnd(", ".join(reasons), span.end_s)


def rolled_over(motion: Columns) -> Excursion | None:
    """Return when the car left its wheels for good: it fell, rolled or lies on its roof.

    Not a jump: after it the car feels its weight again.
    """
    z_g = motion["accel_z_g"]
    known = ~np.isnan(z_g)
    if not known.any():
        return None
    rows = np.flatnonzero(known)
    t_s = motion.t_s[rows]
    beyond = (UPRIGHT_LEAST_G - z_g[rows]) / UPRIGHT_LEAST_G
    for out in excursions(t_s, beyond, certain_s=OFF_WHEELS_CERTAIN_S, rest_s=STRUCK_S):
        after = z_g[rows][(t_s >= t_s[out.alarm]) & (t_s <= t_s[out.alarm] + LANDED_S)]
        if float(np.median(after)) < LANDED_G:
            return Excursion(int(rows[out.first]), int(rows[out.alarm]), int(rows[out.last]))
    return None


def last_failsafe_s(record: Record) -> float | None:
    """Return when the failsafe that was active at the end began; None where none was."""
    active = record.motion["failsafe_active"]
    known = np.flatnonzero(~np.isnan(active))
    if not len(known) or active[known[-1]] < 0.5:
        return None
    calm = np.flatnonzero(active[known] < 0.5)
    return float(record.motion.t_s[known[int(calm[-1]) + 1 if len(calm) else 0]])
