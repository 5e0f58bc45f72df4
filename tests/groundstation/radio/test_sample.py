"""Reports of one place gathered into one sample."""

from __future__ import annotations

from math import log10

import pytest

from groundstation.radio.sample import LEAST_REPORT_VARIANCE_DB2, Sample, Witness


def test_levels_are_averaged_as_power() -> None:
    sample = Sample()
    for level_dbm, place_m in ((-70.0, 10.0), (-80.0, 20.0)):
        sample.add(10.0 ** (0.1 * level_dbm), place_m, at_s=1.0, travelled_m=0.0)
    # The mean of 1 and 0.1 is 0.55.
    assert sample.level_dbm == pytest.approx(-70.0 + 10.0 * log10(0.55))
    assert sample.place_m == 15.0


def test_reports_of_one_place_share_their_fading() -> None:
    still, driven = Sample(), Sample()
    for count in range(20):
        still.add(1e-8, 300.0, at_s=0.02 * count, travelled_m=0.0)
        driven.add(1e-8, 300.0, at_s=0.02 * count, travelled_m=0.3 * count)
    variances = [
        sample.variance_db2(4.0, travelled_m=way_m, sigma_m=0.0)
        for sample, way_m in ((still, 0.0), (driven, 6.0))
    ]
    assert variances[0] > 4.0
    assert variances[1] < 0.1 * variances[0]
    assert still.variance_db2(0.0, travelled_m=0.0, sigma_m=0.0) > LEAST_REPORT_VARIANCE_DB2


def test_near_the_driver_a_metre_counts_more() -> None:
    variances = []
    for place_m in (10.0, 200.0):
        sample = Sample()
        sample.add(1e-8, place_m, at_s=0.0, travelled_m=0.0)
        variances.append(sample.variance_db2(1.0, travelled_m=0.0, sigma_m=2.0))
    # d/dr of 40 log10(r) is 17.4 / r; 2 m of doubt and 2 m of patterns are 2.83 m.
    expected_db2 = (1.74 * 2.828) ** 2 - (0.087 * 2.828) ** 2
    assert variances[0] - variances[1] == pytest.approx(expected_db2, rel=0.01)


@pytest.mark.parametrize(
    ("exponent", "refutes"), [(0.0, True), (-2.0, True), (1.8, False), (4.0, False)]
)
def test_a_level_that_does_not_fall_refutes_the_place(exponent: float, refutes: bool) -> None:
    witness = Witness()
    for at_m in (10.0, 20.0, 30.0, 40.0):
        witness.take(-30.0 - 10.0 * exponent * log10(at_m), at_m)
        assert witness.refutes_place is (refutes and at_m > 32.0)


@pytest.mark.parametrize(("exponent", "refutes"), [(0.29, True), (0.31, False)])
def test_a_place_is_refuted_over_three_times_the_first_distance(
    exponent: float, refutes: bool
) -> None:
    witness = Witness()
    # 5 dB in 10 log10 of the distance: from 20 m on that is 63.2 m.
    for at_m in (20.0, 50.0, 63.0, 63.5, 160.0):
        witness.take(-40.0 - 10.0 * exponent * log10(at_m / 20.0), at_m)
        assert witness.refutes_place is (refutes and at_m > 63.2)


def test_a_sample_begins_at_its_first_report() -> None:
    sample = Sample()
    for at_s, travelled_m in ((3.0, 70.0), (3.1, 71.0), (3.2, 72.0)):
        sample.add(1e-8, 300.0, at_s=at_s, travelled_m=travelled_m)
    assert (sample.since_s, sample.since_m) == (3.0, 70.0)
    # Two metres since then are many fades, so all three reports count.
    fading_db2 = sample.variance_db2(6.0, travelled_m=72.0, sigma_m=0.0)
    shared_db2 = sample.variance_db2(6.0, travelled_m=70.0, sigma_m=0.0)
    assert shared_db2 - fading_db2 == pytest.approx(6.0 - 2.0)
    half_db2 = sample.variance_db2(6.0, travelled_m=70.06, sigma_m=0.0)
    assert shared_db2 - half_db2 == pytest.approx(6.0 - 3.0)
