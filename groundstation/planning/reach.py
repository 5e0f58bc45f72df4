"""How far the required margin reaches, and what course fits into that.

Owns the search. The reach is the first place, going away from the driver, where the margin falls
short; the margin may come back behind it, but a car that has to pass a hole in its control link on
the way has no use for that. Counted are local means (see `margins`), however near the driver.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.planning.course import LONGEST_M, Course, Radio
from groundstation.planning.margins import Checked, margins

_PLACES = 1200
"""Of the search, evenly spread over the logarithm of the distance: steps of 1 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """Where the required margin ends, and the course that follows from it."""

    reach_m: float | None
    """How far from the driver, along the course, the margin holds; None where it is short from the
    first place on that the car comes to."""
    edge_at_m: float | None
    """Last place along the course with the required margin; None where the car's way begins
    without it."""
    lift_at_m: float | None
    """Last place to lift at, for the car to stop at that edge; None where there is none."""
    longest_course_m: float | None
    """None where no course keeps the margin."""
    unlimited: bool
    """Whether the margin holds beyond `LONGEST_M`, where the search ends."""


def find_reach(
    course: Course, radio: Radio, *, required_margin_db: float, checked: Checked | None = None
) -> Reach:
    """Return how far the required margin reaches along a course.

    The longest course keeps the margin from its start to where the car comes to rest behind it, the
    driver standing at the same place, or at its middle where that is the plan.
    """
    before_m = max(-course.stands_at_m, 0.0)
    reach_m = away_m(
        radio,
        required_margin_db=required_margin_db,
        from_m=before_m,
        aside_m=course.driver_aside_m,
        checked=checked,
    )
    if reach_m is None:
        return Reach(
            reach_m=None, edge_at_m=None, lift_at_m=None, longest_course_m=None, unlimited=False
        )
    edge_m = course.stands_at_m + reach_m
    lift_m = edge_m - course.overrun_m
    starts_inside = course.stands_at_m <= reach_m
    if course.driver_at_m is None:
        longest_m = 2.0 * (reach_m - course.overrun_m)
    else:
        longest_m = lift_m if starts_inside else 0.0
    return Reach(
        reach_m=reach_m,
        edge_at_m=edge_m if starts_inside else None,
        lift_at_m=lift_m if starts_inside and lift_m > 0.0 else None,
        longest_course_m=longest_m if longest_m > 0.0 else None,
        unlimited=reach_m >= LONGEST_M,
    )


def away_m(
    radio: Radio,
    *,
    required_margin_db: float,
    from_m: float,
    aside_m: float,
    checked: Checked | None = None,
) -> float | None:
    """Return how far along the car's line from the driver the margin holds without a break.

    Args:
        radio: The link.
        required_margin_db: What must be left.
        from_m: Where the way begins, along the line; nearer is not looked at.
        aside_m: The driver's distance from the line.
        checked: Judges by the range check.

    Returns:
        None where the margin is short from the beginning; at most `LONGEST_M`.
    """

    def holds(along_m: np.ndarray) -> np.ndarray:
        found = margins(np.hypot(along_m, aside_m), radio, checked)
        return np.asarray(found.deciding_db >= required_margin_db)

    steps_m = np.concatenate(([0.0], np.geomspace(0.05, LONGEST_M, _PLACES)))
    along_m = np.append((from_m + steps_m)[from_m + steps_m < LONGEST_M], LONGEST_M)
    short = np.flatnonzero(~holds(along_m))
    if short.size == 0:
        return LONGEST_M
    if short[0] == 0:
        return None
    low_m, high_m = along_m[short[0] - 1], along_m[short[0]]
    while high_m - low_m > 0.001:
        middle_m = 0.5 * (low_m + high_m)
        low_m, high_m = (middle_m, high_m) if holds(np.array(middle_m)) else (low_m, middle_m)
    return float(low_m)
