"""Did a change help, or was it luck? Passes compared by set-up, with a plain word for each figure.

Owns what is compared with what, and the words. Passes of one session share weather, surface and
pack, so they are no independent trials of a set-up: where a set-up was driven in several sessions,
whole sessions are dealt out anew, each with the mean of its passes; where sessions drove both
set-ups, passes are dealt out within their session; only where each set-up has a single session are
passes dealt out, and then the words say that the session itself may be the cause. As many figures
are looked at, their p are corrected for their number (S. Holm, Scandinavian J. Statistics 6, 1979).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.compare_permutation import Permutation, permutation_test
from groundstation.analysis.record import Floats
from groundstation.analysis.setup_changes import Change, changes_between, flat_sheet

LARGEST_P = 0.05


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


class Verdict(StrEnum):
    """What can be said of a figure."""

    BETTER = "better"
    WORSE = "worse"
    HIGHER = "higher"
    LOWER = "lower"
    CANNOT_TELL = "cannot tell"
    TOO_FEW = "too few runs"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """What a change did to a figure."""

    figure: str
    unit: str
    mean_before: float | None
    mean_after: float | None
    passes_before: int
    passes_after: int
    sessions_before: int
    sessions_after: int
    permuted: Unit | None
    """What was dealt out anew; None where one side has no figure."""
    difference: float | None
    """After less before."""
    low: float | None
    high: float | None
    """95 % interval of the difference; None: not bounded on this side by so few runs."""
    p: float | None
    """Two-sided."""
    p_corrected: float | None
    """For the number of figures compared; None where there are too few runs to test."""
    least_p: float | None
    """The smallest that so few runs can give."""
    exact: bool
    verdict: Verdict
    words: str


@dataclass(frozen=True, slots=True)
class ChangeEffects:
    """One change and what it did."""

    change: Change
    words: str
    warnings: tuple[str, ...]
    """What else may have done it."""
    effects: tuple[Effect, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All changes among the passes."""

    changes: tuple[ChangeEffects, ...]
    tested: int
    """Figures over all changes that were tested, for which p was corrected."""
    words: str


@dataclass(frozen=True, slots=True)
class _Trial:
    """A figure on both sides of a change, before its p is corrected."""

    kind: FigureKind
    before: Floats
    after: Floats
    sessions: tuple[int, int]
    unit: Unit | None
    test: Permutation | None


def compare(
    passes: Sequence[PassFigures], kinds: Sequence[FigureKind], *, seed: int = 0
) -> Comparison:
    """Return what each change of set-up did to each figure.

    Args:
        passes: In order of time.
        kinds: The figures to look at.
        seed: Of the deals, where there are too many to try all.
    """
    changes = changes_between([flat_sheet(each.setup) for each in passes])
    trials = [[_trial(passes, change, kind, seed=seed) for kind in kinds] for change in changes]
    ps = [
        each.test.p
        for row in trials
        for each in row
        if each.test is not None and each.test.least_p <= LARGEST_P
    ]
    corrected = iter(holm(ps))
    found = []
    for change, row in zip(changes, trials, strict=True):
        effects = []
        for each in row:
            testable = each.test is not None and each.test.least_p <= LARGEST_P
            effects.append(_effect(each, next(corrected) if testable else None, len(ps)))
        found.append(
            ChangeEffects(change, change.words, _warnings(change, effects), tuple(effects))
        )
    return Comparison(tuple(found), len(ps), _summary(found, len(ps)))


def holm(ps: Sequence[float]) -> list[float]:
    """Return the p of several tests, corrected for their number (Holm's step-down)."""
    corrected = [0.0] * len(ps)
    highest = 0.0
    for rank, index in enumerate(sorted(range(len(ps)), key=lambda each: ps[each])):
        highest = max(highest, min((len(ps) - rank) * ps[index], 1.0))
        corrected[index] = highest
    return corrected


def _trial(passes: Sequence[PassFigures], change: Change, kind: FigureKind, *, seed: int) -> _Trial:
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
        return _Trial(kind, values[~second], values[second], counts, None, None)
    unit, test = _tested(values, second, blocks, both=sides[0] & sides[1], seed=seed)
    return _Trial(kind, values[~second], values[second], counts, unit, test)


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


def _effect(trial: _Trial, corrected: float | None, tested: int) -> Effect:
    test = trial.test
    verdict = _verdict(trial, corrected)
    return Effect(
        figure=trial.kind.name,
        unit=trial.kind.unit,
        mean_before=float(trial.before.mean()) if len(trial.before) else None,
        mean_after=float(trial.after.mean()) if len(trial.after) else None,
        passes_before=len(trial.before),
        passes_after=len(trial.after),
        sessions_before=trial.sessions[0],
        sessions_after=trial.sessions[1],
        permuted=trial.unit,
        difference=None if test is None else test.difference,
        low=None if test is None else test.low,
        high=None if test is None else test.high,
        p=None if test is None else test.p,
        p_corrected=corrected,
        least_p=None if test is None else test.least_p,
        exact=test is not None and test.exact,
        verdict=verdict,
        words=_words(trial, verdict, corrected, tested),
    )


def _verdict(trial: _Trial, corrected: float | None) -> Verdict:
    if trial.test is None or corrected is None:
        return Verdict.TOO_FEW
    if corrected > LARGEST_P:
        return Verdict.CANNOT_TELL
    higher = trial.test.difference > 0.0
    if trial.kind.better is Better.NEITHER:
        return Verdict.HIGHER if higher else Verdict.LOWER
    return Verdict.BETTER if higher == (trial.kind.better is Better.HIGHER) else Verdict.WORSE


def _words(trial: _Trial, verdict: Verdict, corrected: float | None, tested: int) -> str:
    test, kind = trial.test, trial.kind
    if test is None:
        return f"{kind.name}: {verdict}: not measured on one side"
    difference = f"{test.difference:+.3g} {kind.unit}".rstrip()
    runs = f"{trial.unit} ({_counts(trial)})"
    if corrected is None:
        return (
            f"{kind.name}: {verdict}: {difference}, but from so few {runs} the smallest possible "
            f"p is {test.least_p:.2f}"
        )
    low, high = ("unknown" if each is None else f"{each:+.3g}" for each in (test.low, test.high))
    told = f"{difference} (95 % interval {low} to {high}), p {test.p:.3g}"
    if tested > 1:
        told += f", {corrected:.3g} corrected for {tested} figures"
    ending = "; it may be luck" if verdict is Verdict.CANNOT_TELL else ""
    return f"{kind.name}: {verdict}: {told}{ending}; by {runs}"


def _counts(trial: _Trial) -> str:
    if trial.unit is Unit.SESSIONS:
        return f"{trial.sessions[0]} and {trial.sessions[1]}"
    return f"{len(trial.before)} and {len(trial.after)}"


def _warnings(change: Change, effects: list[Effect]) -> tuple[str, ...]:
    found = []
    together = (*change.keys, *change.changed_with)
    if len(together) > 1:
        found.append(
            f"{_listed(together)} were changed together: what each of them did cannot be told"
        )
    if change.also_varied:
        verb = "differs" if len(change.also_varied) == 1 else "differ"
        found.append(f"{_listed(change.also_varied)} {verb} too, and may have a share in it")
    single = [each.figure for each in effects if each.permuted is Unit.PASSES]
    if single:
        told = [each.figure for each in effects if each.permuted is not None]
        where = "was driven" if single == told else f"has {_listed(single)} from"
        within = "in one session only" if single == told else "one session only"
        found.append(
            f"each set-up {where} {within}: weather, surface and pack of the session may have "
            "done it"
        )
    return tuple(found)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _summary(found: list[ChangeEffects], tested: int) -> str:
    if not found:
        return "the set-up sheets do not differ: there is nothing to compare"
    effects = [each for one in found for each in one.effects]
    shown = sum(each.verdict not in (Verdict.CANNOT_TELL, Verdict.TOO_FEW) for each in effects)
    few = sum(each.verdict is Verdict.TOO_FEW for each in effects)
    words = f"{shown} of {len(effects)} figures changed by more than luck"
    if tested > 1:
        words += f" ({tested} tested, p corrected for their number)"
    return words + (f"; {few} have too few runs to tell" if few else "")
