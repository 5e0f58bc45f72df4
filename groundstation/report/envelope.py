"""Long series made short enough for a page without losing a peak.

Of each stretch of frames the lowest and the highest are kept, in the order in which they came; a
gap in which nothing was heard stays a gap.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats

GAP_S = 1.0
"""A line is not drawn over a longer silence."""

AROUND_S = 3.0
"""Before and after a pass that are kept as finely as the pass."""


def envelope(values: Floats, most: int) -> NDArray[np.intp]:
    """Return the rows to keep, increasing, at most `most` of them.

    Args:
        values: (n) NaN where it is not known.
        most: Two or more.
    """
    count = len(values)
    if count <= most:
        return np.arange(count)
    per_stretch = -(-count // (most // 2))
    stretches = -(-count // per_stretch)
    padded = np.full(stretches * per_stretch, np.nan)
    padded[:count] = values
    shaped = padded.reshape(stretches, per_stretch)
    starts = np.arange(stretches) * per_stretch
    lowest = starts + np.argmin(np.where(np.isnan(shaped), np.inf, shaped), axis=1)
    highest = starts + np.argmax(np.where(np.isnan(shaped), -np.inf, shaped), axis=1)
    return np.unique(np.concatenate([lowest, highest]))


def shortened(
    t_s: Floats, values: Floats, spans: Sequence[PassSpan], *, most: int
) -> tuple[Floats, Floats]:
    """Return a series of at most about `most` points, finer in the passes than between them.

    Args:
        t_s: (n) increasing.
        values: (n) NaN where it is not known.
        spans: The passes.
        most: Points.
    """
    known = ~np.isnan(values)
    t_s, values = t_s[known], values[known]
    if len(t_s) > most:
        fine = np.zeros(len(t_s), np.bool_)
        for span in spans:
            fine[slice(*np.searchsorted(t_s, [span.start_s - AROUND_S, span.end_s + AROUND_S]))] = (
                True
            )
        edges = [0, *(np.flatnonzero(np.diff(fine)) + 1).tolist(), len(t_s)]
        counts = {True: int(fine.sum()), False: int((~fine).sum())}
        shares = {True: 0.75, False: 0.25} if 0 < counts[True] < len(t_s) else {True: 1, False: 1}
        kept = []
        for first, last in pairwise(edges):
            side = bool(fine[first])
            room = max(int(shares[side] * most * (last - first) / counts[side]), 2)
            kept.append(first + envelope(values[first:last], room))
        rows = np.concatenate(kept)
        t_s, values = t_s[rows], values[rows]
    return _with_gaps(t_s, values)


def _with_gaps(t_s: Floats, values: Floats) -> tuple[Floats, Floats]:
    steps_s = np.diff(t_s)
    usual_s = float(np.median(steps_s)) if len(steps_s) else 0.0
    after = np.flatnonzero(steps_s > max(GAP_S, 10.0 * usual_s)) + 1
    return np.insert(t_s, after, t_s[after - 1] + 0.001), np.insert(values, after, np.nan)
