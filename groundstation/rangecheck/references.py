"""Which earlier checks today's is compared with, and which levels of them.

Rule: a check whose aerials were in question is no reference; else a fault that stays would become
what is usual.
"""

from __future__ import annotations

from collections.abc import Sequence

from groundstation.rangecheck.compare import EarlierCheck
from groundstation.rangecheck.fit import usable
from groundstation.rangecheck.record import Bound, CheckRecord, Hold

MOST_EARLIER = 10
"""The newest ones; older ones tell of another car."""
SAME_PLACE_DEG = 0.002
"""Some 200 m."""


def references(
    earlier: Sequence[CheckRecord], bound: Bound, least_reports: int
) -> list[EarlierCheck]:
    """Return what of the earlier checks is compared.

    Those of this vehicle, since it was last changed for good, whose aerials were not in question.
    """
    if bound.starts_anew:
        return []
    own = [record for record in earlier if record.bound.vehicle_name == bound.vehicle_name]
    starts = [at for at, record in enumerate(own) if record.bound.starts_anew]
    own = own[starts[-1] if starts else 0 :]
    newest = [record for record in own if record.is_reference][-MOST_EARLIER:]
    return [
        EarlierCheck(
            tuple(off_the_floor(usable(record.holds, least_reports))),
            same_place(record.bound, bound),
        )
        for record in newest
    ]


def same_place(first: Bound, second: Bound) -> bool:
    """Return whether two checks were made at one place; not told otherwise, they were."""
    if first.place and second.place:
        return first.place.casefold() == second.place.casefold()
    places = (
        first.latitude_deg, first.longitude_deg, second.latitude_deg, second.longitude_deg
    )  # fmt: skip
    if any(each is None for each in places):
        return True
    north = abs((first.latitude_deg or 0.0) - (second.latitude_deg or 0.0))
    east = abs((first.longitude_deg or 0.0) - (second.longitude_deg or 0.0))
    return north <= SAME_PLACE_DEG and east <= 2.0 * SAME_PLACE_DEG


def off_the_floor(holds: Sequence[Hold]) -> list[Hold]:
    """Return the holds but those that one and the same lowest level says are at the floor."""
    lowest_dbm = min((hold.level_dbm or 0.0 for hold in holds), default=0.0)
    flat = [
        hold
        for hold in holds
        if hold.spread_db == 0.0 and abs((hold.level_dbm or 0.0) - lowest_dbm) < 1e-6
    ]
    if len({hold.distance_m for hold in flat}) < 2:
        return list(holds)
    return [hold for hold in holds if hold not in flat]
