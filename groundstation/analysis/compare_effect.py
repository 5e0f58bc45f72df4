"""What can be said of one figure after a change: a verdict, the figures behind it, a sentence.

Rule: a difference that may be luck is never called better or worse.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from groundstation.analysis.compare_trial import Better, Trial, Unit

LARGEST_P = 0.05


class Verdict(StrEnum):
    """What can be said of a figure."""

    BETTER = "better"
    WORSE = "worse"
    HIGHER = "higher"
    LOWER = "lower"
    CANNOT_TELL = "cannot tell"
    TOO_FEW = "too few runs"


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


def effect_of(trial: Trial, corrected: float | None, tested: int) -> Effect:
    """Return what is said of a trial.

    Args:
        trial: The figure on both sides.
        corrected: Its p, corrected for the number of tests; None where there are too few runs.
        tested: That number.
    """
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


def _verdict(trial: Trial, corrected: float | None) -> Verdict:
    if trial.test is None or corrected is None:
        return Verdict.TOO_FEW
    if corrected > LARGEST_P:
        return Verdict.CANNOT_TELL
    higher = trial.test.difference > 0.0
    if trial.kind.better is Better.NEITHER:
        return Verdict.HIGHER if higher else Verdict.LOWER
    return Verdict.BETTER if higher == (trial.kind.better is Better.HIGHER) else Verdict.WORSE


def _words(trial: Trial, verdict: Verdict, corrected: float | None, tested: int) -> str:
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


def _counts(trial: Trial) -> str:
    if trial.unit is Unit.SESSIONS:
        return f"{trial.sessions[0]} and {trial.sessions[1]}"
    return f"{len(trial.before)} and {len(trial.after)}"
