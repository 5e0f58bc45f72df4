"""The verdict, large, with every reason and what to look at first."""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.record import Verdict
from groundstation.rangecheck.view import CheckView
from groundstation.screens.drawing.check_table import check_table
from groundstation.screens.drawing.glyphs import large, largest_scale
from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import blank, line, wrap

GO_WORDS = "Nothing was found against a run. Advice only: when in doubt, do not run."
HOLD_WORDS = "Do not run yet. What follows is why, and where to look first."
_REASON_ROWS = 3
_LEAST_TABLE_ROWS = 6
"""From here on the table of the walk has room below the reasons."""


def check_verdict(
    view: CheckView, *, width: int, rows: int, scale: int, first: int = 0
) -> list[Line]:
    """Return the verdict page in `rows` rows.

    Args:
        view: Of a check that is judged.
        width: In cells.
        rows: For the whole page.
        scale: Of the large word.
        first: Finding that is listed first, counted from 0; what has no room is counted.
    """
    verdict = view.verdict or Verdict.HOLD
    is_go = verdict is Verdict.GO
    ink, ground = (Ink.CLEAR, Ink.TEXT) if is_go else (Ink.LOST_BAR, Ink.LOST_BAR)
    title = f" VERDICT  {'✓' if is_go else '✗'} {verdict}"
    drawn = [line(width, (title, Ink.TITLE_STRONG), pad=Ink.TITLE)]
    if fitting := largest_scale(verdict, width=width - 4, scale=scale):
        drawn += [line(width, (f"  {text}", ink), pad=ground) for text in large(verdict, fitting)]
    drawn.append(line(width, (f"  {GO_WORDS if is_go else HOLD_WORDS}", Ink.STRONG)))
    findings = findings_in_order(view)
    first = min(first, max(len(findings) - 1, 0))
    drawn += _reasons(findings[first:], width=width, rows=rows - len(drawn))
    left = rows - len(drawn) - 1
    if view.walk.holds and left >= _LEAST_TABLE_ROWS:
        drawn += [blank(width), *check_table(view.walk, width=width, rows=left)]
    return (drawn + [blank(width)] * rows)[:rows]


def so_far(view: CheckView, *, width: int, rows: int) -> list[Line]:
    """Return what the running step has found so far, in `rows` rows."""
    step = next(each for each in view.steps if each.step is view.step)
    drawn = [line(width, (" SO FAR", Ink.TITLE), pad=Ink.TITLE)]
    drawn += _reasons(step.findings, width=width, rows=rows - 1)
    if not step.findings:
        drawn.append(line(width, ("  nothing measured yet", Ink.FAINT)))
    return (drawn + [blank(width)] * rows)[:rows]


_CAUSES = (Rule.FAILSAFE, Rule.LEVEL, Rule.PATTERN, Rule.MARGIN)
"""Looked at first, in this order: a small margin is often what comes of the others."""


def findings_in_order(view: CheckView) -> list[Finding]:
    """Return the findings of the whole check: those that hold, then notes, then what is well."""
    order = (Outcome.HOLD, Outcome.MISSING, Outcome.NOTE, Outcome.OK)

    def urgency(finding: Finding) -> tuple[int, int]:
        rule = finding.rule
        cause = _CAUSES.index(rule) if rule in _CAUSES else len(_CAUSES)
        return order.index(finding.outcome), cause

    return sorted(view.steps[-1].findings, key=urgency)


_MARKS = {
    Outcome.HOLD: ("✗", Ink.LOST),
    Outcome.MISSING: ("○", Ink.THIN),
    Outcome.NOTE: ("◆", Ink.THIN),
    Outcome.OK: ("✓", Ink.CLEAR),
}


def _reasons(findings: Sequence[Finding], *, width: int, rows: int) -> list[Line]:
    drawn: list[Line] = []
    for place, finding in enumerate(findings):
        block = _reason(finding, width)
        left = len(findings) - place
        if len(drawn) + len(block) > rows - (1 if left > 1 else 0):
            # The last row says how many are left out, but for a single one that fits.
            drawn.append(line(width, (f"  and {left} more: ↓", Ink.FAINT)))
            break
        drawn += block
    return drawn[: max(rows, 0)]


def _reason(finding: Finding, width: int) -> list[Line]:
    mark, ink = _MARKS[finding.outcome]
    texts = wrap(finding.text, width - 5, _REASON_ROWS)
    drawn = [line(width, (f"  {mark} ", ink), (texts[0] if texts else "", Ink.STRONG))]
    drawn += [line(width, (f"    {text}", Ink.STRONG)) for text in texts[1:]]
    if finding.look_at and finding.outcome is not Outcome.OK:
        for row, text in enumerate(wrap(finding.look_at, width - 8, _REASON_ROWS)):
            lead = "→ " if row == 0 else "  "
            drawn.append(line(width, (f"    {lead}", Ink.LABEL), (text, Ink.TEXT)))
    return drawn
