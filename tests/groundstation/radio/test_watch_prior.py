"""The watch and what a range check found beforehand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.radio.watch import LinkWatch
from tests.groundstation.radio.watched import PERCENT, PRIOR, SETTING, Drive, reported


def test_a_check_that_becomes_known_late_begins_the_estimate_anew_and_once() -> None:
    early = Drive(replace(SETTING, prior=PRIOR), speed_mps=0.0)
    late = Drive(SETTING, speed_mps=0.0)
    late.run(1.0)
    before = late.watch.estimate
    late.setting = replace(SETTING, prior=PRIOR)
    late.run(0.1)
    assert late.watch.estimate is not before
    begun = late.watch.estimate
    early.run(5.0)
    late.run(4.9)
    assert late.watch.estimate is begun
    fits = [drive.watch.estimate.fit() for drive in (early, late)]
    assert fits[0] is not None
    assert fits[1] is not None
    assert fits[1].level_at_1m_dbm == pytest.approx(fits[0].level_at_1m_dbm, abs=1.0)
    assert fits[1].exponent == pytest.approx(fits[0].exponent, abs=0.1)


def test_a_check_binds_a_receiver_that_measures_levels_less() -> None:
    variances_db2 = []
    for setting in (replace(SETTING, prior=PRIOR), PERCENT):
        watch = LinkWatch()
        reported(watch, 0.0, setting=setting)
        variances_db2.append(watch.estimate.predict(60.0)[1])
    # A day's change of 12 dB, and of 2 dB.
    assert variances_db2[0] - variances_db2[1] == pytest.approx(12.0**2 - 2.0**2)
