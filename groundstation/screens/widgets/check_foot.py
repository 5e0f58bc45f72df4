"""The foot of the range check: the keys, or what is being asked."""

from __future__ import annotations

from enum import StrEnum, auto

from textual.message import Message

from groundstation.rangecheck.view import Step
from groundstation.screens.drawing.check_keys import check_keys_row, distance_row, repeat_row
from groundstation.screens.widgets.typing_foot import TypingFoot

STEPS = (Step.SENSORS, Step.FAILSAFE, Step.WALK)
"""That can be done again, by the digit that chooses them."""


class Asked(StrEnum):
    """What the foot asks for."""

    DISTANCE = auto()
    STEP = auto()


class CheckFoot(TypingFoot):
    """Names the keys, and takes the distance of a mark or a step to repeat."""

    CHARACTERS = "0123456789."
    LONGEST = 6

    class Answered(Message):
        """Something was typed or chosen."""

        def __init__(self, words: str) -> None:
            super().__init__()
            self.words = words
            """To be told to the check."""

    def __init__(self) -> None:
        super().__init__()
        self._asked = Asked.DISTANCE
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
        self.begin()

    def accept(self) -> None:
        """Mark at the distance that was typed; a step needs no enter."""
        if self._asked is Asked.STEP:
            return
        if _metres(self._typed) > 0.0:
            self._answer(f"mark {self._typed}")
        else:
            self._complaint = "not a distance: 25, or 12.5"

    def take(self, character: str) -> None:
        """Take a character of the distance, or the digit of a step."""
        if self._asked is Asked.DISTANCE:
            super().take(character)
        elif character in ("1", "2", "3"):
            self._answer(f"repeat {STEPS[int(character) - 1]}")

    def redraw(self) -> None:
        """Show what was typed."""
        self.draw_foot(self._step, self._width)

    def _answer(self, words: str) -> None:
        self.end()
        self.post_message(self.Answered(words))


def _metres(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0
