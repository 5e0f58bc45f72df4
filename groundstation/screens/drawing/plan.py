"""How the rows of a screen are shared out.

At 80x24 all essentials are there; a larger screen gets larger figures, all charts and lists side by
side; a smaller one loses charts first, then events, then the lower figures, and never the level.
"""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.screens.drawing.glyphs import rows_of
from groundstation.screens.drawing.large_figures import FEWEST_ROWS

WIDE_FROM = 110
"""Columns from which links, own channels and events stand side by side."""

CHART_ROWS = 6
"""Rows of two charts, one above the other, that are still worth drawing."""

LINK_ROWS = 2
COURSE_ROWS = {False: 2, True: 4}
"""Rows of the course strip on a narrow and on a wide screen."""

PANEL_ROWS = 8
"""Rows of the lists when they stand side by side."""

_NEEDED_COLUMNS = {1: 0, 2: 76, 3: 116, 4: 160}
"""Columns from which figures of a scale have room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Rows of each part, from top to bottom; 0 leaves a part out."""

    header: int
    trouble: int
    banner: int
    figures: int
    scale: int
    """Of the upper figures."""
    lower_scale: int
    """Of the lower figures; 0 leaves them out."""
    course: int
    """Of the course strip, where the distance is known."""
    charts: int
    details: int
    progress: int
    keys: int
    wide: bool

    @property
    def page(self) -> int:
        """Rows for a page that takes the place of charts and lists."""
        return self.charts + self.details


def plan(
    width: int,
    height: int,
    *,
    is_replay: bool,
    has_trouble: bool,
    has_course: bool = False,
    is_large: bool = False,
) -> Plan:
    """Return the best plan for a screen; all rows together are `height`, or less if it is tiny.

    Args:
        width: Of the screen, in cells.
        height: Of the screen, in cells.
        is_replay: Whether a row says where a replay stands.
        has_trouble: Whether a row says that bytes are being lost.
        has_course: Whether there is a course to be drawn.
        is_large: Whether the figures stand alone.
    """
    if is_large:
        return _large_plan(height, is_replay=is_replay, has_trouble=has_trouble)
    for scale in (4, 3, 2):
        lower = scale - 1
        figures = rows_of(scale) + rows_of(lower) + 2
        fixed = 3 + is_replay + has_trouble
        course = COURSE_ROWS[width >= WIDE_FROM and scale > 2] if has_course else 0
        left = height - fixed - figures - course
        # The strip is worth more than the events.
        least = CHART_ROWS + LINK_ROWS + (0 if has_course else 2)
        if width < _NEEDED_COLUMNS[scale] or left < least + (PANEL_ROWS - 4) * (scale > 2):
            continue
        wide = width >= WIDE_FROM and left >= CHART_ROWS + PANEL_ROWS
        if wide:
            charts = left - min(max(PANEL_ROWS, left * 2 // 5), PANEL_ROWS + 4)
        else:
            charts = max(CHART_ROWS, left * 3 // 5 // 2 * 2)
        return Plan(
            header=1,
            trouble=int(has_trouble),
            banner=1,
            figures=figures,
            course=course,
            scale=scale,
            lower_scale=lower,
            charts=charts,
            details=left - charts,
            progress=int(is_replay),
            keys=1,
            wide=wide,
        )
    return _small_plan(height, is_replay=is_replay, has_trouble=has_trouble, has_course=has_course)


def _large_plan(height: int, *, is_replay: bool, has_trouble: bool) -> Plan:
    left = height - (banner := min(height, 1))

    def take(rows: int) -> int:
        nonlocal left
        taken = rows if left - rows >= FEWEST_ROWS else 0
        left -= taken
        return taken

    trouble, header = take(int(has_trouble)), take(1)
    keys, progress = take(1), take(int(is_replay))
    return Plan(
        header=header,
        trouble=trouble,
        banner=banner,
        figures=left,
        scale=1,
        lower_scale=0,
        course=0,
        charts=0,
        details=0,
        progress=progress,
        keys=keys,
        wide=False,
    )


def _small_plan(height: int, *, is_replay: bool, has_trouble: bool, has_course: bool) -> Plan:
    left = height

    def take(rows: int) -> int:
        nonlocal left
        if rows > left:
            return 0
        left -= rows
        return rows

    banner = take(1)
    upper = take(rows_of(1) + 1)
    trouble = take(int(has_trouble))
    header = take(1)
    keys = take(1)
    progress = take(int(is_replay))
    course = take(COURSE_ROWS[False]) if has_course and upper else 0
    lower = take(rows_of(1) + 1) if upper else 0
    links = take(LINK_ROWS)
    charts = take(CHART_ROWS) or take(CHART_ROWS // 2)
    return Plan(
        header=header,
        trouble=trouble,
        banner=banner,
        figures=upper + lower,
        course=course,
        scale=1,
        lower_scale=int(lower > 0),
        charts=charts,
        details=links + left,
        progress=progress,
        keys=keys,
        wide=False,
    )
