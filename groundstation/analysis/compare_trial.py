"""A figure on both sides of a change of set-up: which passes count, and what is dealt out anew.

Passes of one session share weather, surface and pack, so they are no independent trials of a
set-up: where a set-up was driven in several sessions, whole sessions are dealt out anew, each with
the mean of its passes; where sessions drove both set-ups, passes are dealt out within their
session; only where each set-up has a single session are passes dealt out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.compare_permutation import Permutation, permutation_test
from groundstation.analysis.record import Floats
from groundstation.analysis.setup_changes import Change


class Better(StrEnum):
    """Which way a figure is to go."""

    HIGHER = "higher"
    LOWER = "lower"
    NEITHER = "none"


class Unit(StrEnum):
    """What is dealt out anew."""

    SESSIONS = "sessions"
    PASSES_WITHIN = "passes within their session"
    PASSES = "passes"


@dataclass(frozen=True, slots=True)
class FigureKind:
    """A figure that passes have."""

    name: str
    unit: str = ""
    better: Better = Better.NEITHER


@dataclass(frozen=True, slots=True)
class PassFigures:
    """One pass, as it enters the comparison."""

    session: str
    setup: Mapping[str, object]
    """Set-up sheet, nested or flat."""
    figures: Mapping[str, float | None]
    """By the name of the figure; None or absent: not measured on this pass."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A figure on both sides of a change, before its p is corrected."""

    kind: FigureKind
    before: Floats
    after: Floats
    sessions: tuple[int, int]
    unit: Unit | None
    test: Permutation | None


def trial_of(
    passes: Sequence[PassFigures], change: Change, kind: FigureKind, *, seed: int
) -> Trial:
    """Return a figure before and after a change, tested where both sides have it.

    Args:
        passes: In order of time.
        change: Tells which of them are before it and which after.
        kind: The figure.
        seed: Of the deals, where there are too many to try all.
    """
    rows = [*change.rows_before, *change.rows_after]
    values = np.array([_value(passes[row], kind) for row in rows])
    second = np.arange(len(rows)) >= len(change.rows_before)
    names = [passes[row].session for row in rows]
    known = ~np.isnan(values)
    values, second = values[known], second[known]
    numbers = {name: number for number, name in enumerate(dict.fromkeys(names))}
    blocks = np.array([numbers[name] for name in names], np.intp)[known]
    sides = set(blocks[~second].tolist()), set(blocks[second].tolist())
    counts = len(sides[0]), len(sides[1])
    if not all(counts):
        return Trial(kind, values[~second], values[second], counts, None, None)
    unit, test = _tested(values, second, blocks, both=sides[0] & sides[1], seed=seed)
    return Trial(kind, values[~second], values[second], counts, unit, test)


def _tested(
    values: Floats,
    second: NDArray[np.bool_],
    blocks: NDArray[np.intp],
    *,
    both: set[int],
    seed: int,
) -> tuple[Unit, Permutation]:
    if both:
        rows = np.isin(blocks, list(both))
        unit = Unit.PASSES_WITHIN
        return unit, permutation_test(values[rows], second[rows], blocks[rows], seed=seed)
    sessions = np.unique(blocks)
    if len(sessions) == 2:
        return Unit.PASSES, permutation_test(values, second, seed=seed)
    means = np.array([values[blocks == each].mean() for each in sessions])
    sides = np.array([bool(second[blocks == each][0]) for each in sessions])
    return Unit.SESSIONS, permutation_test(means, sides, seed=seed)


def _value(one: PassFigures, kind: FigureKind) -> float:
    value = one.figures.get(kind.name)
    return float("nan") if value is None else float(value)
