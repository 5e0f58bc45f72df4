"""Step 4: GO or HOLD, and why.

Owns the rules that the walk must meet; those of the sensors and of the failsafe come from their
steps. Rule: GO needs every one of them; what was not measured is said and holds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from groundstation.radio.forecast import Braking
from groundstation.rangecheck.against_earlier import against_earlier
from groundstation.rangecheck.compare import Comparison, compare
from groundstation.rangecheck.finding import Finding
from groundstation.rangecheck.fit import CheckFit, fit_holds, usable
from groundstation.rangecheck.margin import margin_finding
from groundstation.rangecheck.record import Bound, CheckRecord, Hold, Verdict
from groundstation.rangecheck.references import off_the_floor, references
from groundstation.rangecheck.samples import (
    enough_samples,
    exponent_finding,
    level_source,
    weakest_heading,
)
from groundstation.rangecheck.setting import CheckSetting


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What the walk comes to."""

    findings: tuple[Finding, ...]
    fit: CheckFit | None = None
    comparison: Comparison | None = None
    figures: dict[str, float | None] = field(default_factory=dict)


def verdict_of(findings: Sequence[Finding]) -> Verdict:
    """Return GO only where nothing holds."""
    held = not findings or any(each.holds for each in findings)
    return Verdict.HOLD if held else Verdict.GO


def judge_walk(
    holds: Sequence[Hold],
    *,
    setting: CheckSetting,
    threshold_dbm: float | None,
    required_margin_db: float,
    braking: Braking,
    earlier: Sequence[CheckRecord],
    bound: Bound,
) -> Judged:
    """Return the findings of a walk.

    Args:
        holds: All that were held.
        setting: Of the check.
        threshold_dbm: Level at which the control receiver stops working; None is not known.
        required_margin_db: At the far end and overrun, at 5 %.
        braking: Of this car and driver, for the overrun.
        earlier: Checks, oldest first; those of other vehicles are passed over.
        bound: What today's check is bound to; earlier checks of its place are preferred.
    """
    good = off_the_floor(usable(holds, setting.least_reports))
    findings = [level_source(holds, good), *enough_samples(good, setting)]
    fit = fit_holds(good)
    figures: dict[str, float | None] = {"holds": float(len(good))}
    before = references(earlier, bound, setting.least_reports)
    if fit is not None:
        findings.append(exponent_finding(fit, before))
        findings += weakest_heading(good, fit)
        figures |= {"exponent": fit.prior.exponent, "null_depth_db": fit.worst_depth_db}
    margin = margin_finding(fit, setting, threshold_dbm, required_margin_db, braking)
    findings.append(margin)
    figures |= margin.figures
    comparison = compare(good, before)
    findings += against_earlier(comparison, len(before))
    if comparison is not None:
        figures |= {"level_shift_db": comparison.shift_db, "level_p": comparison.p}
    return Judged(findings=tuple(findings), fit=fit, comparison=comparison, figures=figures)
