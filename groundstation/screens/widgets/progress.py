"""The progress of a replay."""

from __future__ import annotations

from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.progress import progress
from groundstation.screens.view import View
from groundstation.screens.widgets.panel import Panel


class Progress(Panel):
    """One row in a replay, none in a live session."""

    def lines(self, view: View) -> list[Line]:
        """Return where the replay stands."""
        if view.replay is None or not view.plan.progress:
            return []
        return [progress(view.replay, view.bookmarks, view.width)]
