"""The foot of the live screen: the keys, or the time that is being typed."""

from __future__ import annotations

from textual.message import Message

from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.keys import entry_row, keys_row
from groundstation.screens.replay_requests import parse_time
from groundstation.screens.view import View
from groundstation.screens.widgets.typing_foot import TypingFoot


class Foot(TypingFoot):
    """Names the keys, and takes a time to go to."""

    CHARACTERS = "0123456789:."
    LONGEST = 12

    class TimeChosen(Message):
        """A time to go to was typed."""

        def __init__(self, seconds: float) -> None:
            super().__init__()
            self.seconds = seconds
            """From the beginning of the session."""

    def __init__(self) -> None:
        super().__init__()
        self._view: View | None = None

    def lines(self, view: View) -> list[Line]:
        """Return the keys, or what has been typed so far."""
        self._view = view
        if not view.plan.keys:
            return []
        if self.has_focus:
            return [entry_row(self._typed, self._complaint, view.width)]
        return [keys_row(replay=view.replay, width=view.width, is_waiting=view.is_waiting)]

    def accept(self) -> None:
        """Go to the time that was typed."""
        seconds = parse_time(self._typed)
        if seconds is None:
            self._complaint = "not a time: 1:23, or 83 for seconds"
            return
        self.end()
        self.post_message(self.TimeChosen(seconds))

    def redraw(self) -> None:
        """Show what was typed."""
        if self._view is not None:
            self.draw(self._view)
