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
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option


@dataclass(frozen=True, slots=True)
class Offer:
    """Something that can be watched."""

    source: str
    """As given to `live`."""
    what: str
    """A few words on it."""


Look = Callable[[], Awaitable[tuple[Sequence[Offer], str]]]
"""Looks for sources that take a while to find; returns them, and why there may be no more."""


class PickerApp(App[str]):
    """Shows what can be watched; `run` returns the chosen source, or None."""

    CSS = """
    Screen { background: #0e1319; color: #ccd5df; }
    #title { height: 2; padding: 0 1; text-style: bold; }
    OptionList { height: 1fr; border: none; background: #0e1319; padding: 0 1; }
    #said { height: auto; padding: 1; color: #93a7bb; }
    #keys { height: 1; padding: 0 1; }
    """
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,escape", "quit", "quit"),
        Binding("ctrl+c", "quit", "quit", priority=True),
        Binding("r", "look_again", "look again"),
    ]

    def __init__(self, offers: Callable[[], Sequence[Offer]], look: Look) -> None:
        """Set the screen up.

        Args:
            offers: What is known at once; asked again at each look.
            look: Finds what takes a while.
        """
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self._offers = offers
        self._look = look
        self._listed: list[Offer] = []

    def compose(self) -> ComposeResult:
        """Stack title, list, what is said, keys."""
        yield Static("What shall be watched?", id="title", markup=False)
        yield OptionList()
        yield Static("", id="said", markup=False)
        yield Static("enter watch   ↑↓ choose   r look again   q quit", id="keys", markup=False)

    def on_mount(self) -> None:
        """Look for the first time."""
        self.action_look_again()

    def action_look_again(self) -> None:
        """List what is known, and look for more."""
        self._listed = []
        self.query_one(OptionList).clear_options()
        self._add(self._offers())
        self.query_one("#said", Static).update("looking for Bluetooth LE ...")
        self.run_worker(self._find_more(), exclusive=True)

    def on_option_list_option_selected(self, message: OptionList.OptionSelected) -> None:
        """Leave with the choice."""
        self.exit(self._listed[message.option_index].source)

    async def _find_more(self) -> None:
        found, said = await self._look()
        self._add(found)
        self.query_one("#said", Static).update(said)

    def _add(self, offers: Sequence[Offer]) -> None:
        width = 34
        for offer in offers:
            line = Text(no_wrap=True, overflow="ellipsis")
            line.append(f"{offer.source:<{width}}  ", style="bold")
            line.append(offer.what)
            self.query_one(OptionList).add_option(Option(line))
            self._listed.append(offer)
        if self._listed and self.query_one(OptionList).highlighted is None:
            self.query_one(OptionList).highlighted = 0
