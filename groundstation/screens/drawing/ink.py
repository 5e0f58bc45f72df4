"""Inks: what a piece of text means, never what colour it has.

Drawing names inks, a palette gives each its look. Rule: an ink never carries a meaning alone; the
same thing is always said by a word, a mark or a shape too.
"""

from __future__ import annotations

from enum import StrEnum, auto


class Ink(StrEnum):
    """The meaning of a run of text."""

    TEXT = auto()
    STRONG = auto()
    """What is to be read first in a row."""
    FAINT = auto()
    LABEL = auto()
    """Names a value in a list."""
    TITLE = auto()
    """Names a figure, a chart or a list; rows of titles divide the screen."""
    TITLE_STRONG = auto()
    """What is to be read in a row of titles."""
    FIGURE = auto()
    """A large figure that is now."""
    STALE = auto()
    """A figure that was, and its age."""
    CLEAR = auto()
    THIN = auto()
    LIFT = auto()
    LOST = auto()
    TITLE_WARNING = auto()
    AGE = auto()
    """How old a figure is: in reverse."""
    LIFT_BAR = auto()
    """A full-width row in reverse."""
    LOST_BAR = auto()
    TROUBLE = auto()
    """Something is being lost now: in reverse."""
    RECORDING = auto()
    REPLAY = auto()
    """Says that this is not live: in reverse."""
    CHOSEN = auto()
    """The row of a list that enter takes: in reverse."""
    KEY = auto()
    """A key that can be pressed."""
    SPEED_AREA = auto()
    MARGIN_AREA = auto()
    YAW_TRACE = auto()
    LATERAL_TRACE = auto()
    VERTICAL_TRACE = auto()
    RULE = auto()
    """Stands between two figures, so that they are never read as one number."""
    AXIS = auto()
    LIMIT = auto()
    """A threshold line in a chart."""
    MARGIN_LIMIT_CUT = auto()
    """A threshold line where it crosses the margin area."""


Run = tuple[str, Ink]
"""A piece of text of one ink."""

Line = tuple[Run, ...]
"""One row of a panel, exactly as many cells wide as the panel."""
