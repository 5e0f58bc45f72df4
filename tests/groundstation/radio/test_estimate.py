"""The estimate of level over distance, from single levels and bounds."""

from __future__ import annotations

from math import log10

import msgspec
import numpy as np
import pytest

from groundstation.radio.estimate import LinkEstimate, LinkPrior, cusum

PRIOR = LinkPrior(
    level_at_1m_dbm=-20.0,
    exponent=4.0,
    level_variance_db2=1.0,
    exponent_variance=0.04,
    covariance_db=0.0,
    reach_m=80.0,
)


def law_dbm(distance_m: float, exponent: float = 4.0) -> float:
    return -20.0 - 10.0 * exponent * log10(distance_m)


def driven(
    estimate: LinkEstimate,
    *,
    to_m: float,
    step_m: float = 10.0,
    exponent: float = 4.0,
    off_db: float = 0.0,
) -> LinkEstimate:
    """Drive straight away from 5 m; the level follows the law, without noise."""
    at_m = 5.0
    while at_m <= to_m:
        estimate.move(at_m, step_m)
        estimate.observe(law_dbm(at_m, exponent) + off_db, 1.0)
        at_m += step_m
    return estimate


def test_law_is_found_and_carried_on() -> None:
    estimate = driven(LinkEstimate(), to_m=205.0)
    level_dbm, variance_db2 = estimate.predict(300.0)
    assert level_dbm == pytest.approx(law_dbm(300.0), abs=0.7)
    assert 0.5 < variance_db2**0.5 < 4.0
    fit = estimate.fit()
    assert fit is not None
    assert fit.exponent == pytest.approx(4.0, abs=0.2)


def test_a_shallow_path_is_expected_to_become_a_plane_earth() -> None:
    estimate = driven(LinkEstimate(), to_m=105.0, exponent=2.5)
    here_dbm, far_dbm = estimate.predict(105.0)[0], estimate.predict(420.0)[0]
    # The slope seen so far would give 15 dB, the plane earth's 24 dB.
    assert 20.0 < here_dbm - far_dbm < 30.0


def test_a_way_in_tells_what_the_way_out_will_be() -> None:
    estimate = LinkEstimate()
    for at_m in range(205, 5, -10):
        estimate.move(float(at_m), 10.0)
        estimate.observe(law_dbm(at_m, 3.5), 1.0)
    known, fresh = estimate.predict(200.0)[1], driven(LinkEstimate(), to_m=15.0).predict(200.0)[1]
    assert estimate.predict(200.0)[0] == pytest.approx(law_dbm(200.0, 3.5), abs=1.0)
    assert known < 0.5 * fresh


def test_spread_grows_with_the_way_ahead() -> None:
    estimate = driven(LinkEstimate(), to_m=105.0)
    spreads = [estimate.predict(distance_m)[1] for distance_m in (105.0, 150.0, 250.0, 500.0)]
    assert spreads == sorted(spreads)


def test_samples_of_one_place_are_not_independent() -> None:
    once, often = driven(LinkEstimate(), to_m=105.0), driven(LinkEstimate(), to_m=105.0)
    for _ in range(50):
        often.move(105.0, 0.0)
        often.observe(law_dbm(105.0), 1.0)
    # The shadow is known better, the level beyond it hardly.
    assert often.predict(400.0)[1] > 0.85 * once.predict(400.0)[1]


def test_strength_of_the_shadows_is_learned() -> None:
    source = np.random.default_rng(1)
    found = []
    for sigma_db in (0.5, 5.0):
        estimate = LinkEstimate()
        shadow_db = 0.0
        for at_m in range(10, 400, 10):
            shadow_db = 0.6 * shadow_db + 0.8 * sigma_db * source.standard_normal()
            estimate.move(float(at_m), 10.0)
            estimate.observe(law_dbm(at_m) + shadow_db, 1.0)
        fit = estimate.fit()
        assert fit is not None
        found.append(fit.shadow_sigma_db)
    assert found[0] < 2.0 < 3.5 < found[1]


def test_a_knocked_aerial_is_found_and_opens_the_estimate() -> None:
    estimate = driven(LinkEstimate(), to_m=105.0)
    assert estimate.jumps == 0
    before = estimate.predict(200.0)[1]
    for at_m in range(115, 160, 5):
        estimate.move(float(at_m), 5.0)
        estimate.observe(law_dbm(at_m) - 18.0, 1.0)
        if estimate.jumps:
            break
    assert estimate.jumps == 1
    assert estimate.predict(200.0)[1] > before + 20.0


@pytest.mark.parametrize("off_db", [-6.0, 6.0])
def test_a_level_under_the_law_counts_as_falling_and_one_over_it_as_rising(off_db: float) -> None:
    estimate = driven(LinkEstimate(), to_m=105.0)
    assert (estimate.rising, estimate.falling) == (0.0, 0.0)
    estimate.move(115.0, 10.0)
    estimate.observe(law_dbm(115.0) + off_db, 1.0)
    assert (estimate.rising > 0.0, estimate.falling > 0.0) == (off_db > 0.0, off_db < 0.0)


def test_a_range_check_tells_the_level_before_the_first_report() -> None:
    estimate = LinkEstimate()
    estimate.begin(PRIOR, measures=False)
    level_dbm, variance_db2 = estimate.predict(60.0)
    assert level_dbm == pytest.approx(law_dbm(60.0), abs=0.1)
    fresh = LinkEstimate().predict(60.0)[1]
    assert variance_db2 < 0.2 * fresh


def test_a_bound_moves_only_what_contradicts_it() -> None:
    low, high = LinkEstimate(), LinkEstimate()
    for each in (low, high):
        each.begin(PRIOR, measures=False)
        each.move(60.0, 0.0)
    expected_dbm = law_dbm(60.0)
    low.bound(expected_dbm - 20.0, 1.0, above=True)
    high.bound(expected_dbm + 5.0, 1.0, above=True)
    assert low.predict(60.0)[0] == pytest.approx(expected_dbm, abs=0.05)
    assert high.predict(60.0)[0] > expected_dbm + 2.0


@pytest.mark.parametrize("level_dbm", [-100_000.0, 100_000.0])
def test_what_no_law_allows_leaves_an_estimate_that_goes_on(level_dbm: float) -> None:
    measured, above, below = (driven(LinkEstimate(), to_m=55.0) for _ in range(3))
    measured.observe(level_dbm, 1.0)
    above.bound(level_dbm, 1.0, above=True)
    below.bound(level_dbm, 1.0, above=False)
    for estimate in (measured, above, below):
        assert sum(each.weight for each in estimate.hypotheses) == pytest.approx(1.0)
        driven(estimate, to_m=305.0)
        assert estimate.predict(305.0)[0] == pytest.approx(law_dbm(305.0), abs=6.0)


def test_a_level_of_no_known_place_is_passed_over() -> None:
    estimate, untouched = LinkEstimate(), LinkEstimate()
    estimate.observe(-60.0, 1.0)
    estimate.bound(-60.0, 1.0, above=False)
    assert estimate == untouched


def test_a_kept_copy_goes_on_bit_for_bit() -> None:
    estimate = driven(LinkEstimate(), to_m=105.0)
    kept = msgspec.msgpack.decode(msgspec.msgpack.encode(estimate), type=LinkEstimate)
    assert kept == estimate
    for each in (estimate, kept):
        each.move(117.0, 12.0)
        each.observe(-99.0, 0.7)
    assert kept == estimate


def test_cusum_of_the_textbook() -> None:
    # D. C. Montgomery and G. C. Runger, Applied Statistics and Probability for Engineers, 3rd ed.,
    # example 16-6, table 16-8: target 99, K 1.
    readings = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1]
    readings += [101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]
    high = [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0]
    low = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0]
    rising = falling = 0.0
    for reading, high_sum, low_sum in zip(readings, high, low, strict=True):
        rising, falling = cusum(rising, falling, reading - 99.0, slack=1.0)
        assert (rising, falling) == pytest.approx((high_sum, low_sum), abs=1e-9)
