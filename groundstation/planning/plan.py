"""The course plan: is this course short enough, and what would make it longer?

Owns the verdict, the table of places and what each change is worth. Rule: every figure is judged by
the same curve, the range check's where there is one (see `Margins.deciding_db`), and a change is
compared with the plan itself, never with another change.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from groundstation.planning.course import TALLEST_M, Course, Radio
from groundstation.planning.margins import (
    NEAREST_M,
    Checked,
    Margins,
    fresnel_clearance,
    loss_of_doubling_db,
    margins,
    smooth_from_m,
)
from groundstation.planning.reach import Reach, find_reach
from groundstation.radio.propagation import first_fresnel_radius_m

REQUIRED_MARGIN_DB = 10.0
RAISED_M = 0.5
"""By how much the transmitter is raised to see what that is worth."""
CLEAR_FRESNEL = 0.6
"""Share of the first Fresnel zone that must be clear for a path to count as free."""

LOWER_BAND_HZ, UPPER_BAND_HZ = 868e6, 2.4e9
BETWEEN_BANDS_HZ = 1.5e9

_NAMES = ("start", "", "", "", "far end", "stop point")
_SEARCHED = 801
"""Places along the way among which the worst is looked for."""


class Change(StrEnum):
    """What could be done otherwise."""

    MID_COURSE = "mid_course"
    RAISED = "raised"
    OTHER_BAND = "other_band"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place on the car's way, and the margins there."""

    name: str
    """Empty where it has none."""
    along_m: float
    distance_m: float
    """From the driver."""
    free_space_db: float
    two_ray_db: float
    plane_earth_db: float
    checked_db: float | None
    checked_p05_db: float | None
    deciding_db: float
    fresnel_radius_m: float
    """Of the first zone, half-way to the driver."""
    fresnel_clearance: float
    """Share of that zone's radius that is clear of the ground, at most 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What one change is worth."""

    change: Change
    course: Course
    radio: Radio
    far_end_db: float
    """More margin at the far end."""
    stop_db: float
    """More margin where the car comes to rest."""
    reach: Reach
    longer_m: float | None
    """How much longer the course may be; None where there is no longest course to compare."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All that is said about one course."""

    course: Course
    radio: Radio
    checked: Checked | None
    required_margin_db: float
    places: tuple[Place, ...]
    """From the start to where the car comes to rest; the last two are the far end and that."""
    worst: Place
    reach: Reach
    fresnel_clear_to_m: float
    """Distance from the driver up to which `CLEAR_FRESNEL` of the first zone is clear."""
    doubling_db: float
    """What twice the distance costs where the car comes to rest."""
    gains: tuple[Gain, ...]

    @property
    def enough(self) -> bool:
        """Whether the required margin is kept everywhere."""
        return self.worst.deciding_db >= self.required_margin_db

    @property
    def stop(self) -> Place:
        """Where the car comes to rest if it is lifted at the far end."""
        return self.places[-1]

    def margins_at(self, along_m: np.ndarray) -> Margins:
        """Return the margins at places along the course."""
        return margins(self.course.distance_m(along_m), self.radio, self.checked)


def make_plan(
    course: Course,
    radio: Radio,
    *,
    required_margin_db: float = REQUIRED_MARGIN_DB,
    checked: Checked | None = None,
) -> Plan:
    """Return the plan of a course."""
    length_m, stop_m = course.length_m, course.stop_at_m
    along_m = np.array([0.0, length_m / 4, length_m / 2, length_m * 3 / 4, length_m, stop_m])
    places = [
        replace(place, name=name)
        for place, name in zip(_places(along_m, course, radio, checked), _NAMES, strict=True)
    ]
    searched_m = np.union1d(np.linspace(0.0, stop_m, _SEARCHED), along_m)
    found_db = margins(course.distance_m(searched_m), radio, checked).deciding_db
    worst_m = searched_m[np.argmin(found_db)]
    worst = next((place for place in places if place.along_m == worst_m), None)
    reach = find_reach(course, radio, required_margin_db=required_margin_db, checked=checked)
    return Plan(
        course=course,
        radio=radio,
        checked=checked,
        required_margin_db=required_margin_db,
        places=tuple(places),
        worst=worst or _places(np.array([worst_m]), course, radio, checked)[0],
        reach=reach,
        fresnel_clear_to_m=smooth_from_m(radio) / CLEAR_FRESNEL**2,
        doubling_db=loss_of_doubling_db(places[-1].distance_m, radio),
        gains=tuple(
            _gain(change, changed, places, reach, required_margin_db, checked)
            for change, changed in _changes(course, radio)
        ),
    )


def other_band_hz(frequency_hz: float) -> float:
    """Return the frequency of the band that is not used."""
    return LOWER_BAND_HZ if frequency_hz > BETWEEN_BANDS_HZ else UPPER_BAND_HZ


def _changes(course: Course, radio: Radio) -> list[tuple[Change, tuple[Course, Radio]]]:
    changes = []
    if course.driver_at_m is not None:
        changes.append((Change.MID_COURSE, (replace(course, driver_at_m=None), radio)))
    raised_m = radio.transmitter_height_m + RAISED_M
    if raised_m <= TALLEST_M:
        changes.append((Change.RAISED, (course, replace(radio, transmitter_height_m=raised_m))))
    retuned = replace(radio, frequency_hz=other_band_hz(radio.frequency_hz))
    changes.append((Change.OTHER_BAND, (course, retuned)))
    return changes


def _gain(
    change: Change,
    changed: tuple[Course, Radio],
    places: list[Place],
    reach: Reach,
    required_margin_db: float,
    checked: Checked | None,
) -> Gain:
    course, radio = changed
    ends_m = np.array([course.length_m, course.stop_at_m])
    found_db = margins(course.distance_m(ends_m), radio, checked).deciding_db
    changed_reach = find_reach(
        course, radio, required_margin_db=required_margin_db, checked=checked
    )
    longest_m, now_m = changed_reach.longest_course_m, reach.longest_course_m
    comparable = longest_m is not None and not (changed_reach.unlimited or reach.unlimited)
    return Gain(
        change=change,
        course=course,
        radio=radio,
        far_end_db=float(found_db[0]) - places[-2].deciding_db,
        stop_db=float(found_db[1]) - places[-1].deciding_db,
        reach=changed_reach,
        longer_m=(longest_m or 0.0) - (now_m or 0.0) if comparable else None,
    )


def _places(
    along_m: np.ndarray, course: Course, radio: Radio, checked: Checked | None
) -> list[Place]:
    distance_m = course.distance_m(along_m)
    found = margins(distance_m, radio, checked)
    half_way_m = np.maximum(distance_m, NEAREST_M) / 2.0
    radius_m = first_fresnel_radius_m(half_way_m, half_way_m, radio.frequency_hz)
    clearance = np.minimum(fresnel_clearance(distance_m, radio), 1.0)

    def at(curve: np.ndarray | None, place: int) -> float | None:
        return None if curve is None else float(curve[place])

    return [
        Place(
            name="",
            along_m=float(along_m[place]),
            distance_m=float(distance_m[place]),
            free_space_db=float(found.free_space_db[place]),
            two_ray_db=float(found.two_ray_db[place]),
            plane_earth_db=float(found.plane_earth_db[place]),
            checked_db=at(found.checked_db, place),
            checked_p05_db=at(found.checked_p05_db, place),
            deciding_db=float(found.deciding_db[place]),
            fresnel_radius_m=float(radius_m[place]),
            fresnel_clearance=float(clearance[place]),
        )
        for place in range(len(along_m))
    ]
