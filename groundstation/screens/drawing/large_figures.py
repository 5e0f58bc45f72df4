"""Three figures over the whole screen, to be read from several metres by whoever stands behind it.

Speed and stop margin side by side; below them, as wide as the screen, the seconds to the lift or
the level's word. Rule: from LIFT on the level's part is one block in reverse down to its last row,
and the two figures above it stay.
"""

from __future__ import annotations

from groundstation.screens.drawing import level
from groundstation.screens.drawing.figures import block, ruled, speed, stop_margin
from groundstation.screens.drawing.glyphs import largest_scale, rows_of
from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import beside, blank
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import Snapshot

FEWEST_ROWS = 2 * (rows_of(1) + 1)
"""Both parts at their smallest."""

_SLOT = "888"


def large_figures(snapshot: Snapshot, *, unit: SpeedUnit, width: int, rows: int) -> list[Line]:
    """Return the whole page, as large as it fits.

    Args:
        snapshot: What is known.
        unit: How speed is shown.
        width: In cells.
        rows: To be filled.
    """
    half = width // 2
    most = rows // 2
    scale = max(largest_scale(_SLOT, width=half - 2, scale=_scale(most)), 1)
    margin = block(stop_margin(snapshot, width - half), width=width - half, scale=scale)
    drawn = beside(
        (half, block(speed(snapshot, unit), width=half, scale=scale)), (width - half, ruled(margin))
    )
    # As high as the rows allow: the word then is as wide as it can be.
    scale = _scale(rows - len(drawn))
    drawn += level.block(snapshot, width=width, scale=scale, calm_scale=scale)
    bar = level.BARS.get(snapshot.level) if snapshot.level else None
    return (drawn + [blank(width, bar or Ink.TEXT)] * rows)[:rows]


def _scale(rows: int) -> int:
    """Return the largest scale at which large text and its title are no more than these rows."""
    scale = 1
    while rows_of(scale + 1) + 1 <= rows:
        scale += 1
    return scale
