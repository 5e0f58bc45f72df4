"""The foot of the range check: the keys, or what is being asked."""

from __future__ import annotations

from enum import StrEnum, auto

from textual import events
from textual.message import Message

from groundstation.rangecheck.view import Step
from groundstation.screens.drawing.check_keys import check_keys_row, distance_row, repeat_row
from groundstation.screens.widgets.panel import Panel

LONGEST_DISTANCE = 6
STEPS = (Step.SENSORS, Step.FAILSAFE, Step.WALK)
"""That can be done again, by the digit that chooses them."""


class Asked(StrEnum):
    """What the foot asks for."""

    DISTANCE = auto()
    STEP = auto()


class CheckFoot(Panel):
    """Names the keys; while it has the focus, which only `ask` gives it, it takes an answer."""

    class Answered(Message):
        """Something was typed or chosen."""

        def __init__(self, words: str) -> None:
            super().__init__()
            self.words = words
            """To be told to the check."""

    def __init__(self) -> None:
        super().__init__()
        self._asked = Asked.DISTANCE
        self._typed = ""
        self._complaint = ""
        self._step = Step.SENSORS
        self._width = 0

    def draw_foot(self, step: Step, width: int) -> None:
        """Show the keys of a step, or what is asked."""
        self._step, self._width = step, width
        if not self.has_focus:
            self.place([check_keys_row(step, width)])
        elif self._asked is Asked.STEP:
            self.place([repeat_row(width)])
        else:
            self.place([distance_row(self._typed, self._complaint, width)])

    def ask(self, asked: Asked) -> None:
        """Begin to take an answer."""
        self._asked = asked
        self._typed = self._complaint = ""
        self.can_focus = True
        # At once, and not with the next message: a digit typed fast belongs to the answer.
        self.screen.set_focus(self)

    def on_blur(self) -> None:
        """Take no keys until asked again, neither by a click nor by tab."""
        self.can_focus = False

    def on_key(self, event: events.Key) -> None:
        """Take every key while something is asked, so that none does what it does otherwise."""
        event.stop()
        event.prevent_default()
        self._complaint = ""
        if event.key == "escape":
            self._close()
        elif self._asked is Asked.STEP:
            self._take_step(event.character or "")
        else:
            self._take_distance(event)
        self.draw_foot(self._step, self._width)

    def _take_step(self, character: str) -> None:
        if character in ("1", "2", "3"):
            self._answer(f"repeat {STEPS[int(character) - 1]}")

    def _take_distance(self, event: events.Key) -> None:
        if event.key == "enter":
            if _metres(self._typed) > 0.0:
                self._answer(f"mark {self._typed}")
            else:
                self._complaint = "not a distance: 25, or 12.5"
        elif event.key == "backspace":
            self._typed = self._typed[:-1]
        elif event.character and event.character in "0123456789.":
            self._typed = (self._typed + event.character)[:LONGEST_DISTANCE]

    def _answer(self, words: str) -> None:
        self._close()
        self.post_message(self.Answered(words))

    def _close(self) -> None:
        self.screen.set_focus(None)


def _metres(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0
