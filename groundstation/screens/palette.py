"""The look of each ink: a dark theme, one in black on white for sunlight, one without colours.

Reverse video is the terminal's own attribute in all three, so that a warning stands out where
colours are switched off too. From CLEAR to LOST the levels grow darker, far enough apart for eyes
that do not tell red from green. On white, where all of them are dark, LOST is black.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rich.style import Style

from groundstation.screens.drawing.ink import Ink


@dataclass(frozen=True, slots=True)
class Palette:
    """A look for every ink."""

    name: str
    ground: str | None
    """Colour of the empty screen; None is the terminal's own."""
    styles: Mapping[Ink, Style]


def _palette(name: str, *, ground: str, text: str, inks: Mapping[Ink, str]) -> Palette:
    plain = Style(color=text, bgcolor=ground)
    styles = {ink: plain + Style.parse(inks.get(ink, "")) for ink in Ink}
    return Palette(name, ground, styles)


DARK = _palette(
    "dark",
    ground="#0e1319",
    text="#ccd5df",
    inks={
        Ink.STRONG: "bold #f4f7fa",
        Ink.FAINT: "#7d8b9a",
        Ink.LABEL: "#93a7bb",
        Ink.TITLE: "#a9bacb on #1b2632",
        Ink.TITLE_STRONG: "bold #f4f7fa on #1b2632",
        Ink.FIGURE: "bold #ffffff",
        Ink.STALE: "#6c7a89",
        Ink.CLEAR: "bold #a8f8d8",
        Ink.THIN: "bold #f2bf36",
        Ink.LIFT: "bold #ff8d36",
        Ink.LOST: "bold #f2564f",
        Ink.TITLE_WARNING: "bold #f2bf36 on #1b2632",
        Ink.AGE: "bold reverse #c9d2dc",
        Ink.LIFT_BAR: "bold reverse #ff8d36",
        Ink.LOST_BAR: "bold reverse #f2564f",
        Ink.TROUBLE: "bold reverse #ff7a70",
        Ink.RECORDING: "bold #ff6259",
        Ink.REPLAY: "bold reverse #9db8ff",
        Ink.CHOSEN: "bold reverse #f4f7fa",
        Ink.KEY: "bold #f4f7fa",
        Ink.SPEED_AREA: "#3f8fd6",
        Ink.MARGIN_AREA: "#35a283",
        Ink.YAW_TRACE: "#c59bff",
        Ink.LATERAL_TRACE: "#f0a868",
        Ink.VERTICAL_TRACE: "#e6d06c",
        Ink.RULE: "#5c6a79",
        Ink.AXIS: "#7a8896",
        Ink.LIMIT: "#ffd257",
        Ink.MARGIN_LIMIT_CUT: "#ffd257 on #35a283",
    },
)

SUNLIGHT = _palette(
    "sunlight",
    ground="#ffffff",
    text="#000000",
    inks={
        Ink.TEXT: "bold",
        Ink.STRONG: "bold",
        Ink.FAINT: "#333333",
        Ink.LABEL: "#333333",
        Ink.TITLE: "bold on #d9dee3",
        Ink.TITLE_STRONG: "bold on #d9dee3",
        Ink.FIGURE: "bold",
        Ink.STALE: "#555555",
        Ink.CLEAR: "bold #00663d",
        Ink.THIN: "bold #524300",
        Ink.LIFT: "bold #620a00",
        Ink.LOST: "bold #000000",
        Ink.TITLE_WARNING: "bold #543800 on #d9dee3",
        Ink.AGE: "bold reverse",
        Ink.LIFT_BAR: "bold reverse #620a00",
        Ink.LOST_BAR: "bold reverse #000000",
        Ink.TROUBLE: "bold reverse #a80010",
        Ink.RECORDING: "bold #a80010",
        Ink.REPLAY: "bold reverse #1c2f8f",
        Ink.CHOSEN: "bold reverse",
        Ink.KEY: "bold underline",
        Ink.SPEED_AREA: "#123f7a",
        Ink.MARGIN_AREA: "#0b5a45",
        Ink.YAW_TRACE: "bold #000000",
        Ink.LATERAL_TRACE: "bold #000000",
        Ink.VERTICAL_TRACE: "bold #000000",
        Ink.AXIS: "#333333",
        Ink.LIMIT: "bold #a80010",
        Ink.MARGIN_LIMIT_CUT: "#ffffff on #0b5a45",
    },
)

_BOLD = (
    *(Ink.STRONG, Ink.FIGURE, Ink.CLEAR, Ink.THIN, Ink.LIFT, Ink.LOST, Ink.RECORDING, Ink.KEY),
    *(Ink.TITLE_STRONG, Ink.TITLE_WARNING, Ink.LIFT_BAR, Ink.LOST_BAR, Ink.TROUBLE, Ink.AGE),
    Ink.CHOSEN,
)
_UNDERLINED = (Ink.TITLE, Ink.TITLE_STRONG, Ink.TITLE_WARNING)
_REVERSE = (
    *(Ink.LIFT_BAR, Ink.LOST_BAR, Ink.TROUBLE, Ink.REPLAY, Ink.AGE, Ink.MARGIN_LIMIT_CUT),
    Ink.CHOSEN,
)
_DIM = (Ink.FAINT, Ink.STALE, Ink.AXIS, Ink.RULE)

COLOURLESS = Palette(
    "colourless",
    None,
    {
        ink: Style(
            bold=ink in _BOLD or None,
            dim=ink in _DIM or None,
            reverse=ink in _REVERSE or None,
            underline=ink in _UNDERLINED or None,
        )
        for ink in Ink
    },
)

THEMES = {palette.name: palette for palette in (DARK, SUNLIGHT)}
