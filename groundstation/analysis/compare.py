"""Did a change help, or was it luck? Passes compared by set-up, with a plain word for each figure.

Owns what is compared with what. Which passes count on each side is in `compare_trial.py`, what is
said of one figure in `compare_effect.py`; where each set-up was driven in one session only, the
words say that the session itself may be the cause. As many figures are looked at, their p are
corrected for their number (S. Holm, Scandinavian J. Statistics 6, 1979).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from groundstation.analysis.compare_effect import LARGEST_P, Effect, Verdict, effect_of
from groundstation.analysis.compare_trial import FigureKind, PassFigures, Unit, trial_of
from groundstation.analysis.setup_changes import Change, changes_between, flat_sheet


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
    trials = [[trial_of(passes, change, kind, seed=seed) for kind in kinds] for change in changes]
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
            effects.append(effect_of(each, next(corrected) if testable else None, len(ps)))
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
