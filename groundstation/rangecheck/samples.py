"""What the walk measured: levels at all, enough of them, how they fall, the weakest heading."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import median

from groundstation.rangecheck.compare import EarlierCheck
from groundstation.rangecheck.finding import Finding, Outcome, Rule, chance, missing, ok
from groundstation.rangecheck.fit import CheckFit, fit_holds
from groundstation.rangecheck.record import Hold, LevelKind
from groundstation.rangecheck.setting import HEADING_WORDS, CheckSetting
from groundstation.rangecheck.small_samples import permutation_p, welch

QUANTILE_2_5 = 1.96
"""Standard normal deviate that 2.5 % lie beyond, on either side."""
FIX_OFF_M = 5.0
FIX_OFF_SHARE = 0.25
"""A typed distance and a fix may differ by the larger of the two (common practice, no source)."""
DEEP_NULL_DB = 10.0
"""Told as a note (common practice, no source)."""
USUAL_EXPONENT = (1.6, 6.0)
"""Free space guided by the ground, to obstructed sight (T. S. Rappaport, Wireless Communications,
2nd ed., table 4.2; from memory)."""


def level_source(holds: Sequence[Hold], good: Sequence[Hold]) -> Finding:
    """Judge whether the receiver's figures are levels at all."""
    kinds = {hold.kind for hold in holds}
    bounded = len(holds) - len(good)
    if not holds:
        return missing(Rule.LEVEL_SOURCE, "nothing was held yet", "do the walk")
    if kinds == {LevelKind.NONE}:
        if any(hold.received_percent is not None for hold in holds):
            return missing(
                Rule.LEVEL_SOURCE,
                "the receiver reports only a percentage, and nobody told what it means",
                "give two points in the vehicle's file, [receiver] percent_dbm, "
                "and check at reduced power",
            )
        return missing(
            Rule.LEVEL_SOURCE,
            "the receiver reports no level, or a number that nobody told the meaning of",
            "look at the telemetry's radio frames; "
            "give [receiver] number_dbm in the vehicle's file",
        )
    if bounded and LevelKind.PERCENT in kinds:
        return _note(
            f"{bounded} of {len(holds)} holds have a saturated or an empty percentage",
            "check at reduced power, or farther away: full marks tell no level",
        )
    if bounded:
        return _note(
            f"{bounded} of {len(holds)} holds are no level: at the receiver's floor, too many "
            "lost packets, or too few reports",
            "check at more power, or nearer",
        )
    kind = "dBm" if kinds == {LevelKind.DBM} else "a mapped figure"
    return ok(Rule.LEVEL_SOURCE, f"levels from {kind}, {len(holds)} holds")


def _note(text: str, look_at: str) -> Finding:
    return Finding(rule=Rule.LEVEL_SOURCE, outcome=Outcome.NOTE, text=text, look_at=look_at)


def enough_samples(good: Sequence[Hold], setting: CheckSetting) -> list[Finding]:
    """Judge the number of samples and how far apart they were taken."""
    headings = min(setting.least_headings, setting.walk.headings)
    by_mark: dict[float, set[int]] = {}
    for hold in good:
        by_mark.setdefault(hold.distance_m, set()).add(hold.heading_deg)
    whole = sorted(distance for distance, held in by_mark.items() if len(held) >= headings)
    figures: dict[str, float | None] = {"distances": float(len(whole))}
    text = (
        f"{len(whole)} distances with {headings} headings "
        f"(at least {setting.least_distances}), {len(good)} holds"
    )
    if len(whole) < setting.least_distances:
        look_at = "hold still at each mark and heading until the hold is over"
        return [missing(Rule.SAMPLES, f"too few samples: {text}", look_at, figures)]
    samples = ok(Rule.SAMPLES, text, figures)
    span = whole[-1] / whole[0]
    spanned = f"from {whole[0]:.0f} m to {whole[-1]:.0f} m, a factor of {span:.1f}"
    figures = {"nearest_m": whole[0], "farthest_m": whole[-1], "span": span}
    if span < setting.least_span * (1.0 - 1e-9):
        text = f"marks too close together: {spanned}, at least {setting.least_span:g} is needed"
        look_at = "walk to a mark farther out, or begin nearer"
        return [samples, missing(Rule.DISTANCES, text, look_at, figures)]
    for hold in good:
        if hold.fix_m is not None and not _agrees(hold.distance_m, hold.fix_m):
            text = f"typed {hold.distance_m:.0f} m, but the fixes say {hold.fix_m:.0f} m"
            look_at = "see whether the marks were walked in their order, and where you stand"
            return [samples, missing(Rule.DISTANCES, text, look_at, figures)]
    return [samples, ok(Rule.DISTANCES, f"marks {spanned}", figures)]


def _agrees(typed_m: float, fix_m: float) -> bool:
    return abs(typed_m - fix_m) <= max(FIX_OFF_M, FIX_OFF_SHARE * typed_m)


def exponent_finding(fit: CheckFit, before: Sequence[EarlierCheck]) -> Finding:
    """Tell how fast the level falls, and whether that is unlike before."""
    exponent = fit.prior.exponent
    sigma = fit.prior.exponent_variance**0.5
    usual = USUAL_EXPONENT[0] <= exponent <= USUAL_EXPONENT[1]
    earlier = [held.prior for held in map(fit_holds, (check.holds for check in before)) if held]
    known: float | None = None
    then = ""
    if earlier:
        known = median(prior.exponent for prior in earlier)
        doubt = sqrt(sigma**2 + median(prior.exponent_variance for prior in earlier))
        usual = usual and abs(exponent - known) <= QUANTILE_2_5 * doubt
        then = f", {known:.1f} in the earlier checks"
    return Finding(
        rule=Rule.EXPONENT,
        outcome=Outcome.OK if usual else Outcome.NOTE,
        text=f"level falls with exponent {exponent:.1f} (±{QUANTILE_2_5 * sigma:.1f}){then}, "
        f"one hold scatters by {fit.hold_sigma_db:.1f} dB",
        look_at="" if usual else "see whether the distances were typed right",
        figures={"exponent": exponent, "exponent_sigma": sigma, "earlier_exponent": known},
    )


def weakest_heading(good: Sequence[Hold], fit: CheckFit) -> list[Finding]:
    """Tell the depth of the worst heading today."""
    if len(fit.headings_db) < 3:
        return []
    worst = fit.worst_heading_deg
    level = {mark.distance_m: mark.level_dbm for mark in fit.marks}
    lost: dict[bool, list[float]] = {True: [], False: []}
    for hold in good:
        under_db = level[hold.distance_m] - (hold.level_dbm or 0.0)
        lost[hold.heading_deg == worst].append(under_db)
    if min(len(lost[True]), len(lost[False])) < 2:
        return []
    tested = welch(lost[True], lost[False])
    p = permutation_p(lost[True], lost[False])
    told = "" if p is None else f", {chance(min(p * len(fit.headings_db), 1.0))}"
    deep = tested.difference >= DEEP_NULL_DB
    return [
        Finding(
            rule=Rule.NULL,
            outcome=Outcome.NOTE if deep else Outcome.OK,
            text=f"weakest with {HEADING_WORDS[worst]}: {tested.difference:.1f} dB under the other "
            f"headings (95 %: {tested.difference - tested.half_width:.1f} to "
            f"{tested.difference + tested.half_width:.1f}{told})",
            look_at="see what shadows the aerial on that side" if deep else "",
            figures={"null_db": tested.difference, "null_half_width_db": tested.half_width},
        )
    ]
