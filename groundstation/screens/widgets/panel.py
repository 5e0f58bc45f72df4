"""A full-width block of inked lines, the base of every panel.

Owns what is on the screen already. Rule: a new drawing costs only the cells that differ; the
layout never moves and nothing is parsed as markup.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from rich.cells import cell_len
from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import cells
from groundstation.screens.palette import DARK, Palette
from groundstation.screens.view import View


class Panel(Widget):
    """Shows lines, and sends to the terminal only what has changed in them."""

    ALLOW_SELECT: ClassVar[bool] = False

    def __init__(self) -> None:
        super().__init__()
        self._palette = DARK
        self._lines: list[Line] = []
        self._strips: list[Strip] = []

    def lines(self, view: View) -> list[Line]:
        """Return this panel's part of a view; no lines hide the panel."""
        return []

    def draw(self, view: View) -> None:
        """Take as many rows as there are lines, and show them."""
        self.place(self.lines(view))

    def place(self, lines: list[Line]) -> None:
        """Take as many rows as there are lines, and show them."""
        self.display = bool(lines)
        self.styles.height = len(lines)
        self.show(lines)

    def use_palette(self, palette: Palette) -> None:
        """Draw everything anew in other colours."""
        self._palette = palette
        self._strips = [self._strip(line) for line in self._lines]
        self.refresh()

    def show(self, lines: Sequence[Line]) -> None:
        """Replace what is shown.

        Args:
            lines: One a row of the panel, each as wide as the panel.
        """
        if len(lines) != len(self._lines):
            self._lines = list(lines)
            self._strips = [self._strip(line) for line in lines]
            self.refresh()
            return
        changed = []
        for y, line in enumerate(lines):
            if line == self._lines[y]:
                continue
            start, end = changed_cells(self._lines[y], line)
            changed.append(Region(start, y, end - start, 1))
            self._lines[y] = line
            self._strips[y] = self._strip(line)
        if changed:
            self.refresh(*changed)

    def render_line(self, y: int) -> Strip:
        """Return a row."""
        if y < len(self._strips):
            return self._strips[y].adjust_cell_length(
                self.size.width, self._palette.styles[Ink.TEXT]
            )
        return Strip.blank(self.size.width, self._palette.styles[Ink.TEXT])

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return the rows of a region, past Textual's own styling: inks are final."""
        return [self.render_line(y).crop(crop.x, crop.right) for y in range(crop.y, crop.bottom)]

    def _strip(self, line: Line) -> Strip:
        styles = self._palette.styles
        return Strip([Segment(text, styles[ink]) for text, ink in line])


def changed_cells(before: Line, after: Line) -> tuple[int, int]:
    """Return the first cell in which two lines differ, and the end of the last one."""
    width = cells(after)
    if cells(before) != width:
        return 0, width
    start = _common_cells(before, after)
    same_end = _common_cells(_mirrored(before), _mirrored(after))
    return start, max(width - same_end, start + 1)


def _common_cells(before: Line, after: Line) -> int:
    common = 0
    for (old, old_ink), (new, new_ink) in zip(before, after, strict=False):
        if old_ink is not new_ink:
            return common
        if old != new:
            pairs = enumerate(zip(old, new, strict=False))
            same = next((at for at, (a, b) in pairs if a != b), min(len(old), len(new)))
            return common + cell_len(new[:same])
        common += cell_len(new)
    return common


def _mirrored(line: Line) -> Line:
    return tuple((text[::-1], ink) for text, ink in reversed(line))
