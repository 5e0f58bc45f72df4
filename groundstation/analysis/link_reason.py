"""One plain reason why the control link was weakest where it was.

Rules, in order: weaker at the same places while driving away than while coming is the aerial's side
that faces the driver then; within the law's band is the distance; below it at the same place in
both directions is the place; anything else cannot be told.
"""

from __future__ import annotations

from enum import StrEnum

from groundstation.analysis.link_bins import BIN_M, DistanceLaw, MarginBin

NEAR_BINS = 1
"""A place is a bin and so many on each side."""
LOOSE_BAND_DB = 7.0
"""About a law as loose as this, everything is within the band."""
DIRECTION_DB = 3.0
"""A difference between the directions that is worth a word (common practice, no source)."""


class Reason(StrEnum):
    """Why the margin was lowest there."""

    DISTANCE = "distance"
    PLACE = "place"
    DIRECTION = "direction"
    CANNOT_TELL = "cannot tell"


def reason_of(
    worst: MarginBin,
    bins: tuple[MarginBin, ...],
    law: DistanceLaw | None,
    apart_db: float | None,
) -> tuple[Reason, str]:
    """Return why the margin was lowest there, and that in words.

    Args:
        worst: The piece of the course with the lowest margin.
        bins: All pieces.
        law: None without one.
        apart_db: What driving away lies above driving toward the driver; None where unknown.
    """
    if law is None or worst.law_db is None:
        return Reason.CANNOT_TELL, "too few distances to know the distance law: cannot tell why"
    below_db = worst.law_db - worst.median_db
    one_way = apart_db is not None and abs(apart_db) >= DIRECTION_DB
    weak_side = apart_db is not None and (apart_db < 0.0) == worst.away
    if one_way and weak_side:
        assert apart_db is not None
        side, end = ("away", "back") if worst.away else ("toward the driver", "front")
        return (
            Reason.DIRECTION,
            f"driving {side} it is {abs(apart_db):.0f} dB weaker than the other way at the same "
            f"places: the {end} of the car's aerial",
        )
    if law.band_db > LOOSE_BAND_DB:
        return (
            Reason.CANNOT_TELL,
            f"the margin scatters by {law.band_db:.0f} dB about any distance law: cannot tell why",
        )
    if below_db <= law.band_db:
        return Reason.DISTANCE, f"it follows the distance law (exponent {law.exponent:.1f})"
    other = [
        each.law_db - each.median_db
        for each in bins
        if each.outward != worst.outward
        and each.law_db is not None
        and abs(each.from_m - worst.from_m) <= NEAR_BINS * BIN_M
    ]
    lower = f"{below_db:.0f} dB less than the distance explains"
    if not other:
        return (
            Reason.CANNOT_TELL,
            f"{lower}, but the place was passed in one direction only: cannot tell whether it is "
            f"the place or the car's aerial",
        )
    if max(other) >= 0.5 * below_db:
        return Reason.PLACE, f"{lower}, in both directions: the place"
    return (
        Reason.CANNOT_TELL,
        f"{lower} in this direction, and not in the other one: cannot tell why",
    )
