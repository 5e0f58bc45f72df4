"""The course strip."""

from __future__ import annotations

from groundstation.screens.drawing.course import course
from groundstation.screens.drawing.fix import fix_quality, fix_trouble
from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.level import BARS
from groundstation.screens.view import View
from groundstation.screens.widgets.panel import Panel


class Course(Panel):
    """The car between driver and edge of range, while its distance is known."""

    def lines(self, view: View) -> list[Line]:
        """Return the strip as it is now."""
        if view.is_waiting or not view.plan.course:
            return []
        snapshot = view.snapshot
        return course(
            snapshot.forecast,
            width=view.width,
            rows=view.plan.course,
            fix=fix_quality(snapshot),
            # Else the banner says it.
            trouble=fix_trouble(snapshot) if snapshot.level in BARS else "",
        )
