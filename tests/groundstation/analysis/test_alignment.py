"""How late the fixes are: found where it shows, not told where it does not."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.analysis.alignment import satellite_delay_s
from groundstation.analysis.passes import find_passes
from groundstation.analysis.speed_channels import speed_channels
from tests.groundstation.analysis.driven import (
    record_from,
    there_and_stop,
    with_channel,
    without,
)
from tests.groundstation.analysis.swaying import simulated


@pytest.mark.parametrize("delay_s", [0.0, 0.085, 0.2])
def test_delay_of_the_fixes_is_found_by_accelerometer_and_by_wheel(delay_s: float) -> None:
    record = record_from(there_and_stop, delay_s=delay_s)
    bare = with_channel(record, "motion", "accel_x_g", np.nan)
    for told in (record, bare):
        channels = speed_channels(told, find_passes(told)[0])
        assert channels is not None
        assert satellite_delay_s([channels]) == pytest.approx(delay_s, abs=0.01)


def test_no_delay_is_told_where_nothing_can_tell_it() -> None:
    record = without(record_from(there_and_stop), "motion")
    channels = speed_channels(record, find_passes(record)[0])
    assert channels is not None
    assert satellite_delay_s([channels]) is None
    assert satellite_delay_s([]) is None


def test_an_even_acceleration_alone_tells_no_delay() -> None:
    """It looks the same at any delay but for a constant, which the sum's own start may explain."""
    record = record_from(lambda t_s: np.minimum(there_and_stop(t_s), 38.0), end_s=7.5)
    (span,) = find_passes(record)
    channels = speed_channels(record, span)
    assert channels is not None
    assert np.ptp(channels.fix_mps) > 30.0
    assert satellite_delay_s([channels]) is None


def test_a_car_that_turned_over_has_no_vote() -> None:
    """Sliding and rolling, its forward axis is not where it goes; a braked pass still votes."""
    record = simulated("crash", 6)
    crashed = [speed_channels(record, span) for span in find_passes(record)]
    known = [channels for channels in crashed if channels is not None]
    assert known
    assert satellite_delay_s(known) is None
    braked = record_from(there_and_stop, delay_s=0.085)
    channels = speed_channels(braked, find_passes(braked)[0])
    assert channels is not None
    assert satellite_delay_s([*known, channels]) == pytest.approx(0.085, abs=0.01)
