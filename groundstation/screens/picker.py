"""The picker: what can be watched now, to choose from, when `live` is given no source.

Rule: what is listed comes from the caller; this screen only shows it and returns the choice.
"""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Static

from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.text import clean
from groundstation.screens.palette import COLOURLESS, THEMES


@dataclass(frozen=True, slots=True)
class Offer:
    """Something that can be watched."""

    source: str
    """As given to `live`."""
    what: str
    """A few words on it."""


CAUTION = "Advice only: the transmitter's own alarms and the failsafe come first."

Look = Callable[[], Awaitable[tuple[Sequence[Offer], str]]]
"""Looks for sources that take a while to find; returns them, and why there may be no more."""


class PickerApp(App[str]):
    """Shows what can be watched; `run` returns the chosen source, or None."""

    CSS = """
    Screen { background: transparent; overflow: hidden; }
    #title { height: 2; padding: 0 1; }
    #offers { height: 1fr; }
    #said { height: auto; max-height: 4; padding: 1; }
    #caution, #keys { height: 1; padding: 0 1; }
    """
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,escape", "quit", "quit"),
        Binding("ctrl+c", "quit", "quit", priority=True),
        Binding("up", "choose(-1)", "choose"),
        Binding("down", "choose(1)", "choose"),
        Binding("enter", "watch", "watch"),
        Binding("r", "look_again", "look again"),
        Binding("t", "next_theme", "theme"),
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
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self._offers = offers
        self._look = look
        self._listed: list[Offer] = []
        self._chosen = 0
        self._palette = COLOURLESS if self.no_color else THEMES[theme]
        self._said = ""

    def compose(self) -> ComposeResult:
        """Stack title, list, what is said, caution, keys."""
        for place in ("title", "offers", "said", "caution", "keys"):
            yield Static("", id=place, markup=False)

    def on_mount(self) -> None:
        """Look for the first time."""
        self.action_look_again()

    def on_resize(self) -> None:
        """Draw for the new size."""
        self._redraw()

    def action_look_again(self) -> None:
        """List what is known, and look for more."""
        self._listed, self._chosen = list(self._offers()), 0
        self._said = "looking for Bluetooth LE ..."
        self._redraw()
        self.run_worker(self._find_more(), exclusive=True)

    def action_choose(self, step: int) -> None:
        """Go to the next or the previous offer."""
        if self._listed:
            self._chosen = (self._chosen + step) % len(self._listed)
            self._redraw()

    def action_watch(self) -> None:
        """Leave with the choice."""
        if self._listed:
            self.exit(self._listed[self._chosen].source)

    def action_next_theme(self) -> None:
        """Change the colours, where there are any."""
        if not self.no_color:
            names = list(THEMES)
            self._palette = THEMES[names[(names.index(self._palette.name) + 1) % len(names)]]
            self._redraw()

    async def _find_more(self) -> None:
        found, said = await self._look()
        self._listed += found
        self._said = clean(said)
        self._redraw()

    def _redraw(self) -> None:
        if self._palette.ground is not None:
            self.screen.styles.background = self._palette.ground
        styles = self._palette.styles
        self.query_one("#title", Static).update(Text("What shall be watched?", styles[Ink.STRONG]))
        self.query_one("#offers", Static).update(self._list())
        self.query_one("#said", Static).update(Text(self._said, styles[Ink.LABEL]))
        self.query_one("#caution", Static).update(Text(CAUTION, styles[Ink.FAINT]))
        keys = "enter watch   ↑↓ choose   r look again   t theme   q quit"
        self.query_one("#keys", Static).update(Text(keys, styles[Ink.TEXT]))

    def _list(self) -> Text:
        """Return the offers that fit, the chosen one among them, marked and in reverse."""
        rows = max(self.size.height - 9, 1)
        first = max(self._chosen - rows + 1, 0)
        lines = Text()
        for place, offer in enumerate(self._listed[first : first + rows], start=first):
            chosen = place == self._chosen
            text = f" {'▶' if chosen else ' '} {clean(offer.source):<34}  {clean(offer.what)}"
            row = Text(text, self._palette.styles[Ink.STRONG if chosen else Ink.TEXT])
            row.truncate(self.size.width, overflow="ellipsis", pad=True)
            if chosen:
                row.stylize("reverse")
            lines.append_text(row).append("\n")
        return lines
