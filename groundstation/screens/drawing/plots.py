"""The plots of strip charts: solid areas in eighths of a cell, and min-to-max bands in braille.

Nothing known leaves a gap, and a known 0 still leaves a trace: the two never look the same.
"""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.screens.drawing.axis import Axis
from groundstation.vehicle.traces import Span

_EIGHTHS = " ▁▂▃▄▅▆▇█"
_BRAILLE = 0x2800
_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
"""Bits of the left and the right column of a braille cell, from the top (Unicode 2800 to 28FF)."""


def area(values: Sequence[float | None], axis: Axis, rows: int) -> list[str]:
    """Return the area under values, one column each, top row first."""
    full = 8 * rows
    levels = [0 if value is None else max(round(axis.share(value) * full), 1) for value in values]
    return [
        "".join(_EIGHTHS[min(max(eighths - foot, 0), 8)] for eighths in levels)
        for foot in range(full - 8, -8, -8)
    ]


def band(spans: Sequence[Span | None], axis: Axis, rows: int) -> list[str]:
    """Return a band from the lowest to the highest of each span, two columns a cell, top row first.

    Neighbours are joined, so that a steep change is a line and not two dots.
    """
    heights = [_dots(span, axis, rows) for span in spans]
    cells = [[0] * (len(spans) // 2) for _ in range(rows)]
    before: tuple[int, int] | None = None
    for x, here in enumerate(heights):
        if here is not None:
            top, foot = here
            if before is not None:
                top, foot = min(top, before[1]), max(foot, before[0])
            bits = _DOTS[x % 2]
            for y in range(top, foot + 1):
                cells[y // 4][x // 2] |= bits[y % 4]
        before = here
    # An empty braille cell takes three bytes on the line to the terminal, a blank only one.
    return ["".join(chr(_BRAILLE + bits) if bits else " " for bits in row) for row in cells]


def row_of(value: float, axis: Axis, rows: int) -> int:
    """Return the row, from the top, whose middle is nearest to a value."""
    return min(max(round((1.0 - axis.share(value)) * rows - 0.5), 0), rows - 1)


def _dots(span: Span | None, axis: Axis, rows: int) -> tuple[int, int] | None:
    """Return the upper and the lower end of a span in dots from the top."""
    if span is None:
        return None
    last = 4 * rows - 1
    low, high = span
    return round((1 - axis.share(high)) * last), round((1 - axis.share(low)) * last)
