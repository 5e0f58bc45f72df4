"""The picker: what can be watched now, to choose from, when `live` is given no source.

Rule: what is listed comes from the caller; this screen only shows it and returns the choice.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual.binding import Binding, BindingType

from groundstation.cautions import BESIDE_A_TITLE
from groundstation.screens.base import PanelApp
from groundstation.screens.drawing.ink import Ink, Line, Run
from groundstation.screens.drawing.text import blank, fit, line, wrap
from groundstation.screens.widgets.panel import Panel


@dataclass(frozen=True, slots=True)
class Offer:
    """Something that can be watched."""

    source: str
    """As given to `live`."""
    what: str
    """A few words on it."""


Look = Callable[[], Awaitable[tuple[Sequence[Offer], str]]]
"""Looks for sources that take a while to find; returns them, and why there may be no more."""

KEYS = (
    ("enter", "watch"), ("↑↓", "choose"), ("r", "look again"), ("t", "theme"), ("q", "quit"),
)  # fmt: skip
SAID_ROWS = 3

_SOURCE_CELLS = 34


class PickerApp(PanelApp[str]):
    """Shows what can be watched; `run` returns the chosen source, or None."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "quit", "quit"),
        Binding("up", "choose(-1)", "choose"),
        Binding("down", "choose(1)", "choose"),
        Binding("enter", "watch", "watch"),
        Binding("r", "look_again", "look again"),
    ]

    def __init__(
        self, offers: Callable[[], Sequence[Offer]], look: Look, *, theme: str = "dark"
    ) -> None:
        """Set the screen up.

        Args:
            offers: What is known at once; asked again at each look.
            look: Finds what takes a while.
            theme: "dark" or "sunlight"; without colours where NO_COLOR is set.
        """
        self._page = Panel()
        super().__init__((self._page,), theme=theme)
        self._offers = offers
        self._look = look
        self._listed: list[Offer] = []
        self._chosen = 0
        self._said = ""

    def on_mount(self) -> None:
        """Look for the first time."""
        self.action_look_again()

    def action_look_again(self) -> None:
        """List what is known, and look for more."""
        self._listed, self._chosen = list(self._offers()), 0
        self._said = "looking for Bluetooth LE ..."
        self.redraw()
        self.run_worker(self._find_more(), exclusive=True)

    def action_choose(self, step: int) -> None:
        """Go to the next or the previous offer."""
        if self._listed:
            self._chosen = (self._chosen + step) % len(self._listed)
            self.redraw()

    def action_watch(self) -> None:
        """Leave with the choice."""
        if self._listed:
            self.exit(self._listed[self._chosen].source)

    async def _find_more(self) -> None:
        found, said = await self._look()
        self._listed += found
        self._said = said
        self.redraw()

    def redraw(self) -> None:
        """Draw the list."""
        if not self.is_mounted(self._page):
            return
        width, height = self.size
        caution = (fit(BESIDE_A_TITLE, width - 17), Ink.TITLE)
        title = line(width, (" WHAT TO WATCH  ", Ink.TITLE_STRONG), caution, pad=Ink.TITLE)
        said = [
            line(width, (f" {text}", Ink.LABEL))
            for text in wrap(self._said, max(width - 2, 1), SAID_ROWS)
        ]
        keys: list[Run] = [(" ", Ink.TEXT)]
        for key, does in KEYS:
            keys += [(key, Ink.KEY), (f" {does}  ", Ink.TEXT)]
        rows = max(height - 2 - len(said), 0)
        drawn = [title, *self._list(width, rows), *said, line(width, *keys)]
        self._page.place(drawn[:height])

    def _list(self, width: int, rows: int) -> list[Line]:
        """Return the offers that fit, the chosen one among them, marked and in reverse."""
        first = max(self._chosen - rows + 1, 0)
        drawn = []
        for place, offer in enumerate(self._listed[first : first + rows], start=first):
            chosen = place == self._chosen
            text = f" {'▶' if chosen else ' '} {fit(offer.source, width):<{_SOURCE_CELLS}}"
            ink = Ink.CHOSEN if chosen else Ink.TEXT
            drawn.append(line(width, (fit(f"{text}  {offer.what}", width), ink), pad=ink))
        return drawn + [blank(width)] * (rows - len(drawn))
