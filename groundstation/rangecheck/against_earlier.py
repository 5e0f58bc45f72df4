"""The comparison with the earlier checks, as findings."""

from __future__ import annotations

from groundstation.rangecheck.compare import Comparison, HeadingDrop
from groundstation.rangecheck.finding import Finding, Outcome, Rule, chance, missing
from groundstation.rangecheck.setting import HEADING_WORDS


def against_earlier(comparison: Comparison | None, before: int) -> list[Finding]:
    """Judge today against the earlier checks."""
    if before == 0:
        text = "no earlier check of this vehicle to compare with"
        return [Finding(rule=Rule.LEVEL, outcome=Outcome.NOTE, text=text)]
    if comparison is None:
        text = "cannot tell whether the level has dropped: too few marks and headings in common"
        look_at = "walk to the distances and headings of the earlier checks"
        return [missing(Rule.LEVEL, text, look_at)]
    findings = [_level(comparison)]
    if comparison.heading is not None:
        findings.append(_pattern(comparison.heading))
    return findings


def _level(comparison: Comparison) -> Finding:
    count = comparison.checks
    checks = "the last check" if count == 1 else f"the last {count} checks"
    where = "" if comparison.same_place else " at other places"
    shift_db = comparison.shift_db
    side = "under" if shift_db < 0.0 else "over"
    interval = f"90 % interval {comparison.low_db:+.1f} to {comparison.high_db:+.1f} dB"
    text = (
        f"level {abs(shift_db):.1f} dB {side} {checks}{where} at equal distance and heading "
        f"({interval}, one-sided {chance(comparison.p)}, {comparison.pairs} pairs)"
    )
    figures: dict[str, float | None] = {
        "level_shift_db": shift_db,
        "low_db": comparison.low_db,
        "high_db": comparison.high_db,
        "p": comparison.p,
        "day_sigma_db": comparison.day_sigma_db,
        "checks": float(count),
        "pairs": float(comparison.pairs),
    }
    if comparison.dropped:
        return Finding(
            rule=Rule.LEVEL,
            outcome=Outcome.HOLD,
            text=text,
            look_at="look at how the antennas lie since the pack was changed, then at the "
            "transmitter's power and its antenna; a change that is meant to last: --new-start",
            figures=figures,
        )
    return Finding(rule=Rule.LEVEL, outcome=Outcome.OK, text=text, figures=figures)


def _pattern(drop: HeadingDrop) -> Finding:
    low_db, high_db = drop.drop_db - drop.half_width_db, drop.drop_db + drop.half_width_db
    changed = "lost" if drop.drop_db > 0.0 else "won"
    text = (
        f"{HEADING_WORDS[drop.heading_deg]}: {changed} {abs(drop.drop_db):.1f} dB more than the "
        f"other headings since the earlier checks (95 %: {low_db:.1f} to {high_db:.1f} dB, "
        f"{chance(drop.p)})"
    )
    figures: dict[str, float | None] = {
        "heading_deg": float(drop.heading_deg),
        "drop_db": drop.drop_db,
        "half_width_db": drop.half_width_db,
        "p": drop.p,
    }
    held = drop.significant
    return Finding(
        rule=Rule.PATTERN,
        outcome=Outcome.HOLD if held else Outcome.OK,
        text=text,
        look_at="look at what now lies between the aerial and that side: pack, wires, carbon"
        if held
        else "",
        figures=figures,
    )
