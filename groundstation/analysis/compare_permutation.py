"""Whether two groups differ by more than chance: all ways to deal the same numbers out anew.

Owns the exact permutation test of a difference of means (R. A. Fisher, The Design of Experiments,
1935; E. J. G. Pitman, J. Royal Statistical Society Supplement 4, 1937) and the interval that comes
of it: all differences that the test does not reject (D. Tritchler, J. American Statistical
Association 79, 1984). Nothing is assumed of the numbers' distribution. Rule: numbers are only
exchanged within their block.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product
from math import ceil, comb, prod

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats

MOST_DEALS = 50_000
"""More are not all tried: so many are drawn instead."""
DRAWN_DEALS = 20_000
ROUNDING = 1e-9
"""Differences this close, as a share of the numbers' size, are equal."""


@dataclass(frozen=True, slots=True)
class Permutation:
    """The outcome of a test."""

    difference: float
    """Mean of the second group less that of the first; over blocks, weighted by what they tell."""
    low: float | None
    high: float | None
    """Interval of the difference; None: the numbers are too few to bound it on this side."""
    p: float
    """Two-sided: share of the deals that differ at least as much."""
    p_higher: float
    """One-sided: share of the deals in which the second group lies at least as high."""
    least_p: float
    """The smallest two-sided p that so many numbers can give."""
    deals: int
    exact: bool
    """All deals were tried; else they were drawn."""


def permutation_test(
    values: Floats,
    second: NDArray[np.bool_],
    blocks: NDArray[np.intp] | None = None,
    *,
    confidence: float = 0.95,
    seed: int = 0,
) -> Permutation:
    """Return whether the second group differs from the first.

    Args:
        values: (n)
        second: (n) Which belong to the second group; each block has some of both.
        blocks: (n) Number of the block; None: all are in one.
        confidence: Of the interval.
        seed: Of the deals where they are drawn.

    Raises:
        ValueError: A block has numbers of one group only.
    """
    if blocks is None:
        blocks = np.zeros(len(values), np.intp)
    deals, exact = _deals(second, blocks, seed)
    weights = _weights(deals, blocks)
    differences = weights @ values
    difference = float(differences[0])
    slack = ROUNDING * float(np.max(np.abs(values), initial=0.0))
    count = len(differences)
    size = np.abs(differences)
    return Permutation(
        difference=difference,
        low=_bound(weights, values, second, confidence),
        high=_negative(_bound(weights, -values, second, confidence)),
        p=float(np.count_nonzero(size >= abs(difference) - slack)) / count,
        p_higher=float(np.count_nonzero(differences >= difference - slack)) / count,
        least_p=_least_p(second, blocks, count),
        deals=count,
        exact=exact,
    )


def _deals(
    second: NDArray[np.bool_], blocks: NDArray[np.intp], seed: int
) -> tuple[NDArray[np.bool_], bool]:
    """Return the second group of each deal, (deals, n); the first deal is the one that was."""
    rows = [np.flatnonzero(blocks == block) for block in np.unique(blocks)]
    takes = [int(second[each].sum()) for each in rows]
    if any(not 0 < take < len(each) for take, each in zip(takes, rows, strict=True)):
        raise ValueError("a block has numbers of one group only")
    every = prod(comb(len(each), take) for take, each in zip(takes, rows, strict=True))
    if every > MOST_DEALS:
        return _drawn(second, rows, seed), False
    ways = [combinations(each.tolist(), take) for take, each in zip(takes, rows, strict=True)]
    deals = np.zeros((every, len(second)), np.bool_)
    for row, way in enumerate(product(*ways)):
        for chosen in way:
            deals[row, list(chosen)] = True
    was = int(np.flatnonzero((deals == second).all(axis=1))[0])
    deals[[0, was]] = deals[[was, 0]]
    return deals, True


def _drawn(second: NDArray[np.bool_], rows: list[NDArray[np.intp]], seed: int) -> NDArray[np.bool_]:
    source = np.random.default_rng(seed)
    deals = np.tile(second, (DRAWN_DEALS + 1, 1))
    for each in rows:
        # The deal that was counts as one of the drawn: a p of 0 cannot be (B. Phipson and
        # G. K. Smyth, Statistical Applications in Genetics and Molecular Biology 9, 2010).
        deals[1:, each] = source.permuted(deals[1:, each], axis=1)
    return deals


def _weights(deals: NDArray[np.bool_], blocks: NDArray[np.intp]) -> Floats:
    """Return what each number counts in the difference of each deal, (deals, n)."""
    weights = np.zeros(deals.shape)
    told = 0.0
    for block in np.unique(blocks):
        rows = np.flatnonzero(blocks == block)
        many = float(deals[0, rows].sum())
        few = len(rows) - many
        share = many * few / len(rows)
        told += share
        weights[:, rows] = share * np.where(deals[:, rows], 1.0 / many, -1.0 / few)
    return weights / told


def _bound(
    weights: Floats, values: Floats, second: NDArray[np.bool_], confidence: float
) -> float | None:
    """Return the lowest difference that a one-sided test does not reject; None: none is rejected.

    Were the true difference x, the second group less x would be exchangeable. A deal reaches what
    was seen for all x from (seen - dealt) / (1 - what the deal keeps of x) on.
    """
    kept = weights @ second.astype(np.float64)
    other = kept < 1.0 - ROUNDING
    needed = ceil((1.0 - confidence) / 2.0 * len(weights) - 1.0 + ROUNDING)
    if needed < 1:
        return None
    differences = weights[other] @ values
    from_x = np.sort((float(weights[0] @ values) - differences) / (1.0 - kept[other]))
    # Drawn deals that repeat the one that was reach it always.
    needed -= int(len(weights) - 1 - np.count_nonzero(other))
    return float(from_x[needed - 1]) if 1 <= needed <= len(from_x) else None


def _negative(value: float | None) -> float | None:
    return None if value is None else -value


def _least_p(second: NDArray[np.bool_], blocks: NDArray[np.intp], deals: int) -> float:
    """Return the smallest two-sided p: the deal that was, and its mirror where it has one."""
    mirrored = all(
        2 * int(second[blocks == block].sum()) == int((blocks == block).sum())
        for block in np.unique(blocks)
    )
    return (2.0 if mirrored else 1.0) / deals
