"""The control link along the course: the law, the lowest place, and the reason told."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import numpy as np
import pytest

from groundstation.analysis.course import course_of, place_over_time
from groundstation.analysis.link_by_place import LinkByPlace, link_by_place
from groundstation.analysis.link_reason import Reason
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Columns, Floats, Record
from tests.groundstation.analysis.records import level_by_distance_dbm, up_and_down

BOTH_WAYS = ((-150.0, 300.0), (300.0, -150.0), (-150.0, 300.0), (300.0, -150.0))


def told(record: Record) -> LinkByPlace:
    spans = find_passes(record)
    course = course_of(record, spans)
    places = [place_over_time(record, course, span) for span in spans]
    return link_by_place(record, spans, places)


def test_distance() -> None:
    found = told(up_and_down(BOTH_WAYS))
    assert found.law is not None
    assert found.law.exponent == pytest.approx(4.0, abs=0.1)
    assert found.law.margin_at_100m_db == pytest.approx(40.0, abs=0.5)
    assert found.law.band_db == pytest.approx(3.0, abs=0.2)
    assert found.away_less_toward_db == pytest.approx(0.0, abs=0.6)
    assert found.lowest is not None
    assert found.lowest.reason is Reason.DISTANCE
    assert found.lowest.distance_m == pytest.approx(300.0, abs=12.0)
    assert found.lowest.margin_db == pytest.approx(40.0 - 40.0 * np.log10(3.0), abs=1.5)
    assert found.driver_known
    assert "follows the distance law" in found.words


def test_wild_reports_do_not_move_the_law() -> None:
    def hit(along_m: Floats, outward: bool) -> Floats:
        level = level_by_distance_dbm(along_m, outward)
        return np.where((along_m > 40.0) & (along_m < 90.0), level - 25.0, level)

    found = told(up_and_down(BOTH_WAYS, level_dbm=hit))
    assert found.law is not None
    assert found.law.exponent == pytest.approx(4.0, abs=0.5)


def test_the_place() -> None:
    def hollow(along_m: Floats, outward: bool) -> Floats:
        level = level_by_distance_dbm(along_m, outward)
        return np.where((along_m > 200.0) & (along_m < 225.0), level - 20.0, level)

    found = told(up_and_down(BOTH_WAYS, level_dbm=hollow))
    assert found.lowest is not None
    assert found.lowest.reason is Reason.PLACE
    assert 195.0 < found.lowest.along_m < 230.0
    assert found.lowest.below_law_db == pytest.approx(19.0, abs=3.0)
    assert "both directions: the place" in found.words


def test_one_direction_cannot_tell_the_place() -> None:
    def hollow(along_m: Floats, outward: bool) -> Floats:
        level = level_by_distance_dbm(along_m, outward)
        return np.where((along_m > 200.0) & (along_m < 225.0), level - 20.0, level)

    found = told(up_and_down(((-150.0, 300.0),), level_dbm=hollow))
    assert found.lowest is not None
    assert found.lowest.reason is Reason.CANNOT_TELL
    assert found.away_less_toward_db is None
    assert "one direction only: cannot tell" in found.words


def test_the_back_of_the_aerial() -> None:
    def weak_back(along_m: Floats, outward: bool) -> Floats:
        away = (along_m > 0.0) == outward
        return level_by_distance_dbm(along_m, outward) - np.where(away, 8.0, 0.0)

    found = told(up_and_down(BOTH_WAYS, level_dbm=weak_back))
    assert found.away_less_toward_db == pytest.approx(-8.0, abs=0.6)
    assert found.lowest is not None
    assert found.lowest.reason is Reason.DIRECTION
    assert found.lowest.away
    assert "the back of the car's aerial" in found.words


def test_scattered_about_any_law() -> None:
    found = told(up_and_down(BOTH_WAYS, noise_db=6.0))
    assert found.lowest is not None
    assert found.lowest.reason is Reason.CANNOT_TELL
    assert "scatters" in found.words


def test_too_few_distances() -> None:
    found = told(up_and_down(((200.0, 300.0),)))
    assert found.law is None
    assert found.lowest is not None
    assert found.lowest.reason is Reason.CANNOT_TELL
    assert "cannot tell why" in found.words


def test_nothing_reported() -> None:
    record = up_and_down(BOTH_WAYS)
    silent = replace(record, kinds={**record.kinds, "radio": record.radio.between(-2.0, -1.0)})
    for found in (told(silent), link_by_place(record, [], [])):
        assert found.bins == ()
        assert (found.law, found.lowest) == (None, None)
        assert "cannot tell" in found.words


def test_without_driver_or_fixes() -> None:
    unseen = replace(up_and_down(((0.0, 300.0),)), driver=None)
    assert not told(unseen).driver_known
    assert "from where the first pass began" in told(unseen).words
    blind = replace(unseen, kinds={**unseen.kinds, "fix": unseen.fix.between(-2.0, -1.0)})
    assert told(blind).lowest is not None


def test_bins_hold_every_report() -> None:
    record = up_and_down(BOTH_WAYS)
    found = told(record)
    spans = find_passes(record)
    inside = sum(len(record.radio.between(span.start_s, span.end_s)) for span in spans)
    assert inside - 40 <= sum(each.reports for each in found.bins) <= inside
    assert {each.passes for each in found.bins} <= {1, 2}
    assert all(each.lowest_db <= each.median_db for each in found.bins)
    json.dumps(asdict(found), allow_nan=False)


def test_a_place_that_is_weak_in_one_direction_alone_cannot_be_told() -> None:
    def hollow(along_m: Floats, outward: bool) -> Floats:
        level = level_by_distance_dbm(along_m, outward)
        return np.where(outward & (along_m > 200.0) & (along_m < 225.0), level - 20.0, level)

    found = told(up_and_down(BOTH_WAYS, level_dbm=hollow))
    assert found.lowest is not None
    assert found.lowest.away
    assert found.lowest.reason is Reason.CANNOT_TELL
    assert "in this direction, and not in the other one" in found.words


def test_reports_that_come_too_rarely_tell_no_lowest_place() -> None:
    record = up_and_down(((0.0, 300.0),))
    radio = record.radio
    some = np.arange(0, len(radio), 60)
    few = Columns(radio.t_s[some], {name: each[some] for name, each in radio.values.items()})
    found = told(replace(record, kinds={**record.kinds, "radio": few}))
    assert found.bins
    assert (found.law, found.lowest) == (None, None)
    assert found.words.startswith("the margin was reported too rarely")
