"""When something began: a cumulative sum over what lies beyond the normal, and its last zero.

Owns the change point. A sum that grows with every value beyond the slack, and never falls below
zero, alarms late but remembers: the change began after the sum was last zero (E. S. Page,
Biometrika 41, 1954; the tabular form of Montgomery and Runger, Applied Statistics and Probability
for Engineers, section 16-9). Here it is summed over time, so that lost frames do not change it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats

LONGEST_STEP_S = 0.1
"""A value does not speak for the silence before it for longer than this."""


def cusum(values: Floats, *, target: float, slack: float) -> tuple[Floats, Floats]:
    """Return the sums upward and downward, each (n) and never negative.

    Args:
        values: (n), known.
        target: Where they belong.
        slack: How far off still counts for nothing.
    """
    return _bounded_sum(values - target - slack), _bounded_sum(target - slack - values)


def _bounded_sum(steps: Floats) -> Floats:
    total = np.cumsum(steps)
    return np.asarray(total - np.minimum(np.minimum.accumulate(total), 0.0))


@dataclass(frozen=True, slots=True)
class Excursion:
    """Rows of a channel for which it was out of its normal range."""

    first: int
    """Where it began."""
    alarm: int
    """Where it was certain."""
    last: int


def excursions(t_s: Floats, beyond: Floats, *, certain_s: float, rest_s: float) -> list[Excursion]:
    """Return when a channel was out of its normal range for so long that it is certain.

    Args:
        t_s: (n) increasing.
        beyond: (n) How far out, in half widths of the normal range: 0 at its edge, -1 in its
            middle. Bounded to -1 and 1 here, so that one wild value is not certain by itself.
        certain_s: Sum over time that makes it certain: as long at twice the normal range.
        rest_s: Back for no longer than this, it was not back.
    """
    if not len(t_s):
        return []
    steps_s = np.minimum(np.diff(t_s, prepend=t_s[0]), LONGEST_STEP_S)
    gains_s = np.clip(np.nan_to_num(beyond, nan=-1.0), -1.0, 1.0) * steps_s
    out: NDArray[np.intp] = np.flatnonzero(beyond > 0.0)
    found: list[Excursion] = []
    if not len(out):
        return found
    for part in np.split(out, np.flatnonzero(np.diff(t_s[out]) > rest_s) + 1):
        first, last = int(part[0]), int(part[-1])
        high = _bounded_sum(gains_s[first : last + 1])
        certain = np.flatnonzero(high >= certain_s)
        if len(certain):
            alarm = int(certain[0])
            zeros = np.flatnonzero(high[:alarm] <= 0.0)
            # The step that lifted the sum from zero is the first one out.
            began = int(zeros[-1]) + 1 if len(zeros) else 0
            found.append(Excursion(first + began, first + alarm, last))
    return found
