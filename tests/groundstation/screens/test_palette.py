from __future__ import annotations

from itertools import pairwise

import pytest
from rich.color import Color
from rich.style import Style

from groundstation.radio.level import Level
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.level import BARS, INKS
from groundstation.screens.palette import COLOURLESS, DARK, SUNLIGHT, THEMES, Palette

ALL = [DARK, SUNLIGHT, COLOURLESS]
EYES = {
    "all cones": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "no red cones": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "no green cones": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
}
"""On linear RGB, severity 1.0: Machado, Oliveira and Fernandes, A Physiologically-based Model for
Simulation of Color Vision Deficiency, IEEE TVCG 15 (2009)."""
REVERSED = [Ink.LIFT_BAR, Ink.LOST_BAR, Ink.TROUBLE, Ink.REPLAY, Ink.AGE, Ink.CHOSEN]
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


def seen_by(color: Color | None, eyes: str) -> tuple[float, ...]:
    """Return linear red, green and blue as eyes of a kind see a colour."""
    assert color is not None
    assert color.triplet is not None
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in color.triplet.normalized
    ]
    return tuple(
        min(max(sum(share * part for share, part in zip(row, linear, strict=True)), 0.0), 1.0)
        for row in EYES[eyes]
    )


def lightness(color: Color | None, eyes: str) -> float:
    """Return the lightness L* of CIE 1976, 0 to 100, as eyes of a kind see a colour."""
    red, green, blue = seen_by(color, eyes)
    share = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return 116.0 * share ** (1 / 3) - 16.0 if share > 216 / 24389 else share * 24389 / 27


@pytest.mark.parametrize("eyes", list(EYES))
def test_grey_is_grey_to_all_eyes(eyes: str) -> None:
    # Each row of a matrix of the source adds up to 1: a slip of a digit would show here.
    for row in EYES[eyes]:
        assert sum(row) == pytest.approx(1.0, abs=2e-6)
    assert lightness(Color.parse("#777777"), eyes) == pytest.approx(50.03, abs=0.01)


@pytest.mark.parametrize("eyes", list(EYES))
@pytest.mark.parametrize(
    ("palette", "least"), [(DARK, 8.0), (SUNLIGHT, 6.5)], ids=["dark", "sunlight"]
)
def test_levels_differ_in_lightness_to_all_eyes(palette: Palette, least: float, eyes: str) -> None:
    levels = [lightness(palette.styles[INKS[level]].color, eyes) for level in Level]
    assert all(above - below >= least for above, below in pairwise(levels)), levels


@pytest.mark.parametrize("eyes", list(EYES))
def test_lift_and_lost_are_no_two_dark_reds_in_sunlight(eyes: str) -> None:
    lift, lost = (
        lightness(SUNLIGHT.styles[BARS[level]].color, eyes) for level in (Level.LIFT, Level.LOST)
    )
    assert lift - lost >= 12.0


@pytest.mark.parametrize("palette", [DARK, SUNLIGHT], ids=["dark", "sunlight"])
def test_a_bar_has_the_colour_of_its_level(palette: Palette) -> None:
    for level, bar in BARS.items():
        assert palette.styles[bar].color == palette.styles[INKS[level]].color


def test_themes_by_name() -> None:
    assert set(THEMES) == {"dark", "sunlight"}
