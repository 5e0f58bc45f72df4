"""The foot of a screen: the keys, or an answer that is being typed."""

from __future__ import annotations

from typing import ClassVar

from textual import events

from groundstation.screens.widgets.panel import Panel


class TypingFoot(Panel):
    """While it has the focus, which only `begin` gives it, it takes every key."""

    CHARACTERS: ClassVar[str] = ""
    """That an answer is made of."""
    LONGEST: ClassVar[int] = 0
    """Answer."""

    def __init__(self) -> None:
        super().__init__()
        self._typed = ""
        self._complaint = ""

    def begin(self) -> None:
        """Begin to take an answer."""
        self._typed = self._complaint = ""
        self.can_focus = True
        # At once, and not with the next message: a digit typed fast belongs to the answer.
        self.screen.set_focus(self)

    def end(self) -> None:
        """Take no more of it."""
        self.screen.set_focus(None)

    def accept(self) -> None:
        """Take what was typed as the answer, or complain of it."""

    def take(self, character: str) -> None:
        """Take one more character; those that belong to no answer are passed over."""
        if character in self.CHARACTERS:
            self._typed = (self._typed + character)[: self.LONGEST]

    def redraw(self) -> None:
        """Show what was typed."""

    def on_blur(self) -> None:
        """Take no keys until asked again, neither by a click nor by tab."""
        self.can_focus = False

    def on_key(self, event: events.Key) -> None:
        """Take every key, so that none does what it does otherwise."""
        event.stop()
        event.prevent_default()
        self._complaint = ""
        if event.key == "escape":
            self.end()
        elif event.key == "enter":
            self.accept()
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif event.character:
            self.take(event.character)
        self.redraw()
