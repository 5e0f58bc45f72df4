from __future__ import annotations

import pytest
from rich.color import Color
from rich.style import Style

from groundstation.screens.drawing.ink import Ink
from groundstation.screens.palette import COLOURLESS, DARK, SUNLIGHT, THEMES, Palette

ALL = [DARK, SUNLIGHT, COLOURLESS]
REVERSED = [Ink.LIFT_BAR, Ink.LOST_BAR, Ink.TROUBLE, Ink.REPLAY, Ink.AGE]
LINES = [Ink.RULE, Ink.STALE]
"""Inks of lines and large shapes, for which WCAG 2.1 asks less than for text."""


def luminance(color: Color | None) -> float:
    """Return the relative luminance (WCAG 2.1, from memory)."""
    assert color is not None
    assert color.triplet is not None
    parts = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in color.triplet.normalized
    ]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(style: Style) -> float:
    """Return the contrast ratio, 1 to 21 (WCAG 2.1, from memory)."""
    light, dark = sorted((luminance(style.color), luminance(style.bgcolor)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", ALL, ids=lambda palette: palette.name)
def test_every_ink_has_a_look(palette: Palette) -> None:
    assert set(palette.styles) == set(Ink)


@pytest.mark.parametrize("palette", ALL, ids=lambda palette: palette.name)
@pytest.mark.parametrize("ink", REVERSED)
def test_what_must_stand_out_is_in_reverse_in_every_palette(palette: Palette, ink: Ink) -> None:
    assert palette.styles[ink].reverse


def test_without_colours_there_are_none() -> None:
    for style in COLOURLESS.styles.values():
        assert style.color is None
        assert style.bgcolor is None


def test_without_colours_old_and_new_figures_still_differ() -> None:
    assert COLOURLESS.styles[Ink.STALE] != COLOURLESS.styles[Ink.FIGURE]


@pytest.mark.parametrize(("palette", "least"), [(DARK, 4.5), (SUNLIGHT, 7.0)])
@pytest.mark.parametrize("ink", [ink for ink in Ink if not ink.endswith(("area", "cut"))])
def test_text_can_be_read(palette: Palette, least: float, ink: Ink) -> None:
    assert contrast(palette.styles[ink]) >= (3.0 if ink in LINES else least)


@pytest.mark.parametrize("palette", [DARK, SUNLIGHT], ids=lambda palette: palette.name)
def test_shapes_can_be_seen(palette: Palette) -> None:
    for ink in (Ink.SPEED_AREA, Ink.MARGIN_AREA, Ink.MARGIN_LIMIT_CUT):
        assert contrast(palette.styles[ink]) >= 2.0


def test_sunlight_is_black_on_white() -> None:
    figure = SUNLIGHT.styles[Ink.FIGURE]
    assert contrast(figure) == pytest.approx(21.0)
    assert figure.bold


def test_themes_by_name() -> None:
    assert set(THEMES) == {"dark", "sunlight"}
