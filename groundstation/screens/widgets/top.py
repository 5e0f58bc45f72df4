"""The head of the screen: vehicle and source, recording trouble, the control link's level."""

from __future__ import annotations

from groundstation.screens.drawing.header import header, trouble_row
from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.level import banner
from groundstation.screens.view import View
from groundstation.screens.widgets.panel import Panel


class Top(Panel):
    """One to three full-width rows that are always there."""

    def lines(self, view: View) -> list[Line]:
        """Return who is watched and how the control link stands."""
        plan, rows = view.plan, []
        if plan.header:
            rows.append(
                header(
                    identity=view.snapshot.identity,
                    title=view.title,
                    record=view.record,
                    is_replay=view.replay is not None,
                    width=view.width,
                )
            )
        if plan.trouble:
            rows.append(trouble_row(view.record, view.width))
        if plan.banner and not view.is_waiting:
            rows.append(banner(view.snapshot, view.width, range_check=view.range_check))
        return rows
