"""Passes, found by speed in a whole recording: the same ones as the live screen finds.

Rule: the thresholds and the silence that end a pass are those of `vehicle.passes`; only the
reckoning is done for all frames at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.record import Floats, Record
from groundstation.vehicle.passes import SILENT_S


@dataclass(frozen=True, slots=True)
class PassSpan:
    """When a pass was, on the vehicle's clock."""

    number: int
    """1 for the first."""
    start_s: float
    end_s: float
    ended_in_silence: bool
    """Nothing more was heard of it: it ended out of sight."""


def speed_over_time(record: Record) -> tuple[Floats, Floats]:
    """Return times and speeds by which passes are found: the wheel's, else the satellites'."""
    columns, speed_mps = record.motion, record.motion["speed_mps"]
    if np.all(np.isnan(speed_mps)):
        columns, speed_mps = record.fix, record.fix["ground_speed_mps"]
    known = ~np.isnan(speed_mps)
    return columns.t_s[known], speed_mps[known]


def find_passes(record: Record) -> list[PassSpan]:
    """Return the passes in order of time."""
    t_s, speed_mps = speed_over_time(record)
    return spans_of(
        t_s,
        speed_mps,
        begin_mps=record.profile.pass_speed_mps,
        end_mps=record.profile.pass_end_speed_mps,
    )


def spans_of(t_s: Floats, speed_mps: Floats, *, begin_mps: float, end_mps: float) -> list[PassSpan]:
    """Return where speed rises to `begin_mps` until it falls to `end_mps` or nothing is heard.

    Args:
        t_s: (n) increasing.
        speed_mps: (n) known at each of them.
        begin_mps: A pass begins at this speed.
        end_mps: It ends at this speed; below `begin_mps`.
    """
    if len(t_s) == 0:
        return []
    silent = np.append(np.diff(t_s) >= SILENT_S, False)
    fast = speed_mps >= begin_mps
    slow = speed_mps <= end_mps
    ends = np.flatnonzero(slow | silent)
    spans: list[PassSpan] = []
    at = 0
    while True:
        ahead = np.flatnonzero(fast[at:])
        if not len(ahead):
            return spans
        start = at + int(ahead[0])
        behind = ends[np.searchsorted(ends, start) :]
        end = int(behind[0]) if len(behind) else len(t_s) - 1
        spans.append(
            PassSpan(
                number=len(spans) + 1,
                start_s=float(t_s[start]),
                end_s=float(t_s[end]),
                ended_in_silence=not slow[end],
            )
        )
        at = end + 1
