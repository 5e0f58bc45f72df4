"""The foot of the screen: the keys, or the time that is being typed."""

from __future__ import annotations

from textual import events
from textual.message import Message

from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.keys import entry_row, keys_row
from groundstation.screens.replay_requests import parse_time
from groundstation.screens.view import View
from groundstation.screens.widgets.panel import Panel

LONGEST_TIME = 12


class Foot(Panel):
    """Names the keys; while it has the focus, which only `ask` gives it, it takes a time."""

    class TimeChosen(Message):
        """A time to go to was typed."""

        def __init__(self, seconds: float) -> None:
            super().__init__()
            self.seconds = seconds
            """From the beginning of the session."""

    def __init__(self) -> None:
        super().__init__()
        self._typed = ""
        self._complaint = ""
        self._view: View | None = None

    def lines(self, view: View) -> list[Line]:
        """Return the keys, or what has been typed so far."""
        self._view = view
        if not view.plan.keys:
            return []
        if self.has_focus:
            return [entry_row(self._typed, self._complaint, view.width)]
        return [keys_row(replay=view.replay, width=view.width, is_waiting=view.is_waiting)]

    def ask(self) -> None:
        """Begin to take a time."""
        self._typed = self._complaint = ""
        self.can_focus = True
        self.focus()

    def on_blur(self) -> None:
        """Take no keys until asked again, neither by a click nor by tab."""
        self.can_focus = False

    def on_key(self, event: events.Key) -> None:
        """Take every key while a time is typed, so that none does what it does otherwise."""
        event.stop()
        event.prevent_default()
        self._complaint = ""
        if event.key == "enter":
            self._choose()
        elif event.key == "escape":
            self.blur()
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif event.character and event.character in "0123456789:.":
            self._typed = (self._typed + event.character)[:LONGEST_TIME]
        if self._view is not None:
            self.draw(self._view)

    def _choose(self) -> None:
        seconds = parse_time(self._typed)
        if seconds is None:
            self._complaint = "not a time: 1:23, or 83 for seconds"
            return
        self.blur()
        self.post_message(self.TimeChosen(seconds))
