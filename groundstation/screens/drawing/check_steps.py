"""The four steps of a range check, one a row: a mark, a word and what came out.

Rule: mark and word say the same; the ink only repeats it.
"""

from __future__ import annotations

from groundstation.rangecheck.finding import Finding, Outcome, Rule
from groundstation.rangecheck.view import CheckView, Step, StepView
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import cells, clauses, line

NAMES = {
    Step.SENSORS: "sensors at rest",
    Step.FAILSAFE: "failsafe proof",
    Step.WALK: "walk",
    Step.VERDICT: "verdict",
}

_NAME_CELLS = 17


def steps(view: CheckView, width: int) -> list[Line]:
    """Return all four steps."""
    return [_row(number, each, view, width) for number, each in enumerate(view.steps, start=1)]


def _row(number: int, each: StepView, view: CheckView, width: int) -> Line:
    running = each.step is view.step and view.verdict is None
    name_ink = Ink.STRONG if running else Ink.TEXT if each.done else Ink.FAINT
    mark, word, ink = _state(each, running=running, over=view.verdict is not None)
    runs: list[Run] = [
        (f" {mark} ", ink),
        (f"{number} {NAMES[each.step]:<{_NAME_CELLS}}", name_ink),
        (f"{word:<8}", ink),
    ]
    said = "" if running or mark == "○" else _said(each)
    return line(width, *runs, (clauses(said, max(width - cells(runs) - 1, 0)), Ink.TEXT))


def _state(each: StepView, *, running: bool, over: bool) -> tuple[str, str, Ink]:
    if running:
        return "▶", "now", Ink.STRONG
    if not each.done and not over:
        return "○", "to do", Ink.FAINT
    if each.holds:
        return "✗", "HOLD", Ink.LOST
    return "✓", "GO" if each.step is Step.VERDICT else "ok", Ink.CLEAR


def _said(each: StepView) -> str:
    ordered = sorted(each.findings, key=_urgency, reverse=not each.holds)
    if each.step in (Step.WALK, Step.VERDICT) and not each.holds:
        ordered = [finding for finding in ordered if finding.rule is Rule.MARGIN] or ordered
    if each.step is Step.VERDICT and each.holds:
        count = sum(finding.holds for finding in each.findings)
        return f"{count} reasons" if count > 1 else "1 reason"
    return "; ".join(finding.text for finding in ordered[: 1 if each.holds else 3])


def _urgency(finding: Finding) -> int:
    order = (Outcome.HOLD, Outcome.MISSING, Outcome.NOTE, Outcome.OK)
    return order.index(finding.outcome)
