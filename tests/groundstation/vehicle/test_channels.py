"""The newest value of each channel, and when it is stale."""

from __future__ import annotations

from groundstation.vehicle.channels import STALE_AFTER_INTERVALS, Channels
from protocol import SampleReceived, standard_table

POWER = standard_table().by_name["power"]


def sample(vehicle_s: float, voltage_v: float | None) -> SampleReceived:
    return SampleReceived(POWER, 1, 0, vehicle_s, vehicle_s, {"pack_voltage_v": voltage_v})


def test_a_channel_is_stale_after_several_of_its_own_intervals() -> None:
    channels = Channels()
    for count in range(10):
        channels.take(sample(count * 0.5, 12.0), count * 0.5)
    last_s = 4.5
    due_s = last_s + STALE_AFTER_INTERVALS * 0.5
    assert channels.fresh("power", due_s) == {"pack_voltage_v": 12.0}
    assert channels.fresh("power", due_s + 0.1) == {}
    assert channels.readings(due_s + 0.1)["pack_voltage_v"].stale


def test_unknown_is_a_value_of_its_own() -> None:
    channels = Channels()
    channels.take(sample(0.0, 12.0), 0.0)
    channels.take(sample(0.5, None), 0.5)
    reading = channels.readings(0.5)["pack_voltage_v"]
    assert (reading.value, reading.stale) == (None, False)


def test_a_gap_is_not_taken_for_a_slow_rate() -> None:
    channels = Channels()
    for count in range(50):
        channels.take(sample(count * 0.1, 12.0), count * 0.1)
    channels.take(sample(30.0, 12.0), 30.0)
    interval_s = channels.latest["power"].interval_s
    assert interval_s is not None
    assert interval_s < 0.15


def test_a_kind_never_heard_is_empty() -> None:
    assert Channels().fresh("fix", 0.0) == {}
    assert Channels().failsafe_active() is None


def test_two_samples_of_one_moment_say_nothing_of_the_rate() -> None:
    channels = Channels()
    for vehicle_s, voltage_v in ((0.0, 12.0), (0.5, 12.1), (0.5, 12.2)):
        channels.take(sample(vehicle_s, voltage_v), vehicle_s)
    held = channels.latest["power"]
    assert (held.values, held.interval_s) == ({"pack_voltage_v": 12.2}, 0.5)
