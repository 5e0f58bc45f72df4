"""The screen of the range check: four steps, what to do now, what is measured, the verdict.

Owns the keys and the rhythm. Rule: the desk is only read; what goes back to it are the same plain
words that a script or a pipe may say, and "I stand here".
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import ClassVar

from textual.binding import Binding, BindingType

from groundstation.desk import CheckDesk
from groundstation.screens.base import SessionApp
from groundstation.screens.drawing.check_keys import check_keys_page
from groundstation.screens.drawing.check_page import CheckLook, check_page
from groundstation.screens.widgets.check_foot import Asked, CheckFoot
from groundstation.screens.widgets.panel import Panel


class CheckApp(SessionApp):
    """Guides through a check until the user quits."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("n", "tell('next')", "next step"),
        Binding("o", "switch", "transmitter off / on"),
        # Before anything else, so that what is typed right behind it meets the question.
        Binding("m", "ask('distance')", "mark", priority=True),
        Binding("f", "tell('mark')", "mark by fix"),
        Binding("h", "tell('heading')", "turned"),
        Binding("r", "ask('step')", "repeat a step", priority=True),
        Binding("v", "tell('verdict')", "verdict"),
        Binding("w", "walk", "walk table"),
        Binding("up", "reason(-1)", "reason before"),
        Binding("down", "reason(1)", "next reason"),
        Binding("s", "stand_here", "I stand here"),
        Binding("question_mark", "keys", "keys"),
        Binding("escape", "close", "close"),
    ]

    def __init__(
        self,
        desk: CheckDesk,
        *,
        theme: str = "dark",
        on_start: Callable[[], Awaitable[None]] | None = None,
    ) -> None:
        """Set the screen up.

        Args:
            desk: The check that is shown.
            theme: "dark" or "sunlight"; without colours where NO_COLOR is set.
            on_start: Runs the session; cancelled, and waited for, when the user quits.
        """
        self._body, self._foot = Panel(), CheckFoot()
        super().__init__((self._body, self._foot), theme=theme, on_start=on_start)
        self._desk = desk
        self._shows_keys = self._shows_walk = False
        self._told_off = False
        self._first_reason = 0

    def redraw(self) -> None:
        """Look at the desk once and draw it."""
        if not self.is_mounted(self._foot):
            return
        desk, (width, height) = self._desk, self.size
        check, rows = desk.check_view, max(height - 1, 0)
        if self._shows_keys:
            lines = check_keys_page(width, rows)
        else:
            look = CheckLook(
                title=desk.title,
                snapshot=desk.snapshot,
                record=desk.record_state,
                check=check,
                said=desk.said,
                shows_walk=self._shows_walk,
                first_reason=self._first_reason,
                width=width,
                rows=rows,
            )
            lines = check_page(look)
        self._body.place(lines)
        self._foot.draw_foot(check.step, width)

    def action_tell(self, words: str) -> None:
        """Say something to the check."""
        self._desk.tell(words)
        self._shows_keys = self._shows_walk = False
        self._first_reason = 0
        if words.startswith("repeat"):
            self._told_off = False
        self.redraw()

    def action_switch(self) -> None:
        """Tell that the transmitter is off; the next time, that it is on."""
        self._told_off = not self._told_off
        self.action_tell("off" if self._told_off else "on")

    def action_ask(self, asked: str) -> None:
        """Ask for the distance of a mark, or for a step to repeat."""
        self._foot.ask(Asked(asked))
        self.redraw()

    def action_walk(self) -> None:
        """Show the walk's table in place of the verdict, or the verdict again."""
        self._shows_walk = not self._shows_walk
        self.redraw()

    def action_reason(self, step: int) -> None:
        """Begin the list of findings one later, or one sooner."""
        count = len(self._desk.check_view.steps[-1].findings)
        self._first_reason = min(max(self._first_reason + step, 0), max(count - 1, 0))
        self.redraw()

    def action_stand_here(self) -> None:
        """Tell that the driver stands where the car is now."""
        self._desk.stand_here()
        self.redraw()

    def action_keys(self) -> None:
        """Explain every key, or close that page."""
        self._shows_keys = not self._shows_keys
        self.redraw()

    def action_close(self) -> None:
        """Close the page of keys, or the walk's table."""
        self._shows_keys = self._shows_walk = False
        self.redraw()

    def on_check_foot_answered(self, message: CheckFoot.Answered) -> None:
        """Tell the check what was typed or chosen."""
        self.action_tell(message.words)
