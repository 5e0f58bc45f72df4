"""A check beside the earlier ones of the same car."""

from __future__ import annotations

import pytest

from groundstation.rangecheck.against_earlier import against_earlier
from groundstation.rangecheck.compare import Comparison, EarlierCheck, compare, level_at
from groundstation.rangecheck.finding import Rule
from groundstation.rangecheck.record import Hold
from tests.groundstation.rangecheck.rig import law_dbm, made_holds


def scattered(offset_db: float, seed: int, side_db: float = 0.0) -> tuple[Hold, ...]:
    """Return holds with a scatter of about 1 dB that differs from seed to seed."""

    def level_dbm(distance_m: float, heading_deg: float) -> float:
        noise_db = ((round(distance_m) * 7 + round(heading_deg) * 3 + seed * 13) % 11 - 5) / 4
        lost_db = side_db if heading_deg == 90 else 0.0
        return law_dbm(distance_m) + offset_db + noise_db - lost_db

    return made_holds(level_dbm)


def against(today: tuple[Hold, ...], *offsets_db: float, same_place: bool = True) -> Comparison:
    earlier = [
        EarlierCheck(scattered(offset_db, seed + 1), same_place)
        for seed, offset_db in enumerate(offsets_db)
    ]
    compared = compare(today, earlier)
    assert compared is not None
    return compared


def test_a_drop_is_found_and_measured() -> None:
    compared = against(scattered(-9.0, 0), 0.5, -0.5, 0.2)
    assert compared.dropped
    assert compared.shift_db == pytest.approx(-9.2, abs=0.8)
    assert compared.low_db < compared.shift_db < compared.high_db < 0.0
    assert (compared.checks, compared.pairs) == (3, 16)


def test_no_drop_is_none() -> None:
    compared = against(scattered(0.3, 0), 0.5, -0.5, 0.2)
    assert not compared.dropped
    assert compared.low_db < 0.0 < compared.high_db


def test_a_car_that_differs_from_day_to_day_is_given_more_room() -> None:
    steady = against(scattered(-5.0, 0), 0.2, 0.0, -0.2, 0.1, -0.1)
    wild = against(scattered(-5.0, 0), 5.0, 0.0, -5.0, 4.0, -4.0)
    assert steady.dropped
    assert not wild.dropped
    assert wild.day_sigma_db > 2.0 * steady.day_sigma_db


def test_one_earlier_check_needs_a_larger_drop_than_five() -> None:
    one, five = (
        against(scattered(-2.5, 0), *before) for before in ([0.0], [0.0, 0.2, -0.2, 0.1, 0.0])
    )
    assert one.low_db < five.low_db
    assert (one.dropped, five.dropped) == (False, True)


def test_checks_of_another_place_say_less() -> None:
    here, there = (against(scattered(-5.0, 0), 0.0, same_place=same) for same in (True, False))
    assert here.dropped
    assert not there.dropped


def test_those_of_the_same_place_are_preferred() -> None:
    earlier = [EarlierCheck(scattered(-6.0, 1), same_place=False)]
    earlier += [EarlierCheck(scattered(0.0, 2), same_place=True)]
    compared = compare(scattered(-6.0, 0), earlier)
    assert compared is not None
    assert (compared.checks, compared.same_place) == (1, True)
    assert compared.shift_db == pytest.approx(-6.0, abs=1.2)


def test_one_heading_that_lost_is_named() -> None:
    compared = against(scattered(0.0, 0, side_db=8.0), 0.0, 0.4, -0.4)
    assert compared.heading is not None
    assert compared.heading.significant
    assert compared.heading.heading_deg == 90
    assert compared.heading.drop_db == pytest.approx(8.0, abs=1.2)
    # The best chance that 1 of 4 headings at 4 marks can have, times the four it is picked from.
    assert compared.heading.p == pytest.approx(4 / 1820)
    assert not compared.dropped


def test_a_day_that_is_weaker_everywhere_blames_no_heading() -> None:
    compared = against(scattered(-9.0, 0), 0.0, 0.4, -0.4)
    assert compared.heading is not None
    assert not compared.heading.significant


def test_four_pairs_are_too_few_to_tell() -> None:
    today = scattered(-9.0, 0)
    one_mark = tuple(hold for hold in today if hold.mark == 0)
    assert compare(one_mark, [EarlierCheck(scattered(0.0, 1))]) is None
    assert compare(today, []) is None


def test_a_hold_counts_once_however_many_reports_it_has() -> None:
    few, many = (
        compare(
            made_holds(lambda d, h: law_dbm(d) - 3.0, reports=reports),
            [EarlierCheck(scattered(0.0, 1))],
        )
        for reports in (12, 12_000)
    )
    assert few == many


def test_levels_are_compared_at_equal_distance() -> None:
    today = made_holds(marks_m=(12.0, 25.0, 50.0, 90.0))
    compared = compare(today, [EarlierCheck(made_holds())])
    assert compared is not None
    assert compared.shift_db == pytest.approx(0.0, abs=0.3)
    assert compared.pairs == 16


def test_level_between_and_beyond_the_marks() -> None:
    held = made_holds()
    assert level_at(held, 28.0, 0) == pytest.approx(law_dbm(28.0), abs=1e-9)
    assert level_at(held, 80.0, 270) == pytest.approx(law_dbm(80.0))
    assert level_at(held, 90.0, 0) == pytest.approx(law_dbm(90.0), abs=0.5)
    assert level_at(held, 101.0, 0) is None
    assert level_at(held, 7.0, 0) is None
    assert level_at((), 7.0, 0) is None


def test_two_headings_blame_none_of_them() -> None:
    today, before = (
        tuple(
            hold for hold in scattered(offset_db, seed, side_db=side_db) if hold.heading_deg < 180
        )
        for offset_db, seed, side_db in ((0.0, 0, 8.0), (0.0, 1, 0.0))
    )
    compared = compare(today, [EarlierCheck(before)])
    assert compared is not None
    assert compared.heading is None
    assert [finding.rule for finding in against_earlier(compared, 1)] == [Rule.LEVEL]


def test_a_long_walk_is_judged_without_counting_every_split() -> None:
    marks_m = tuple(10.0 * 1.25**place for place in range(12))

    def level_dbm(distance_m: float, heading_deg: float, side_db: float = 0.0) -> float:
        noise_db = ((round(distance_m) * 7 + round(heading_deg) * 3) % 11 - 5) / 4
        return law_dbm(distance_m) + noise_db - (side_db if heading_deg == 90 else 0.0)

    compared = compare(
        made_holds(lambda d, h: level_dbm(d, h, 8.0), marks_m),
        [EarlierCheck(made_holds(level_dbm, marks_m))],
    )
    assert compared is not None
    assert compared.heading is not None
    assert compared.heading.heading_deg == 90
    assert compared.heading.drop_db == pytest.approx(8.0)
    assert compared.heading.significant
