from __future__ import annotations

import pytest

from groundstation.radio.level import Level
from groundstation.screens.drawing.glyphs import large, largest_scale, rows_of, width_of

DRAWN = "0123456789-. ≥≤" + "".join(sorted(set("".join(Level))))


@pytest.mark.parametrize("scale", [1, 2, 3, 4])
@pytest.mark.parametrize("mark", DRAWN)
def test_a_glyph_fills_its_box(mark: str, scale: int) -> None:
    rows = large(mark, scale)
    assert len(rows) == rows_of(scale)
    assert {len(row) for row in rows} == {width_of(mark, scale)}


@pytest.mark.parametrize("scale", [1, 2, 3, 4])
def test_no_two_glyphs_look_alike(scale: int) -> None:
    # O and 0 may: no word mixes letters and digits.
    marks = [mark for mark in DRAWN if mark != "O"]
    assert len({large(mark, scale) for mark in marks}) == len(marks)


@pytest.mark.parametrize(("scale", "rows"), [(1, 3), (2, 5), (3, 8), (4, 10)])
def test_rows_of_a_scale(scale: int, rows: int) -> None:
    assert rows_of(scale) == rows


def test_large_text_at_the_scale_of_an_80_column_screen() -> None:
    assert large("42", 2) == (
        "██  ██  █████▙",
        "██  ██      ██",
        "▜█████  ▟████▛",
        "    ██  ██    ",
        "    ██  ██████",
    )


def test_the_smallest_scale_uses_half_rows() -> None:
    assert large("-7", 1) == ("   ▀▀▙", "▀▀   █", "     ▀")


def test_text_takes_the_largest_scale_that_fits() -> None:
    assert width_of("LOST", 2) == 30
    assert largest_scale("LOST", width=30, scale=3) == 2
    assert largest_scale("LOST", width=29, scale=3) == 1
    assert largest_scale("LOST", width=14, scale=3) == 0
