"""The two counters of a vehicle: losses counted, the clock unrolled, reboots told."""

from __future__ import annotations

import pytest

from protocol.order import CLOCK_WRAP_US, SEQUENCE_WRAP, Order, Place, sequence_step

WRAP_S = CLOCK_WRAP_US / 1e6
"""71.6 minutes."""


class Car:
    """Frames 10 ms apart, as they are heard; every number may be bent."""

    def __init__(self, *, clock_us: int = 5_000_000, sequence: int = 0, timed: bool = True) -> None:
        self.order = Order()
        self.clock_us = clock_us
        self.sequence = sequence
        self.at_s = 0.0
        self.timed = timed

    def frame(self, *, lost: int = 0, silent_s: float = 0.0) -> Place:
        """Return the place of the next frame, after some that were lost, after a silence."""
        self.sequence += 1 + lost
        self.clock_us += 10_000 * (1 + lost) + round(silent_s * 1e6)
        self.at_s += 0.01 * (1 + lost) + silent_s
        return self.hear(self.sequence, self.clock_us)

    def hear(self, sequence: int, clock_us: int) -> Place:
        """Return the place of any frame, now."""
        at_s = self.at_s if self.timed else None
        return self.order.place(sequence % SEQUENCE_WRAP, clock_us % CLOCK_WRAP_US, at_s)

    def switched_on_again(self, *, after_s: float, clock_us: int = 300_000) -> Place:
        self.sequence, self.clock_us = 0, clock_us
        self.at_s += after_s
        return self.hear(0, clock_us)


@pytest.fixture(params=[True, False], ids=["arrivals known", "arrivals unknown"])
def car(request: pytest.FixtureRequest) -> Car:
    return Car(timed=request.param)


# RFC 1982, par. 5.2: the larger numbers at 8 bits, from memory; here times 256 for 16 bits.
@pytest.mark.parametrize(
    ("larger", "smaller"),
    [(44, 0), (100, 44), (200, 100), (255, 200), (0, 255), (100, 255), (0, 200), (44, 200)],
)
def test_rfc_1982_comparisons(larger: int, smaller: int) -> None:
    assert sequence_step(smaller * 256, larger * 256) > 0
    assert sequence_step(larger * 256, smaller * 256) < 0


# RFC 1982, par. 5.2: 255 + 1 = 0, 100 + 100 = 200, 200 + 100 = 44 at 8 bits, from memory.
@pytest.mark.parametrize(
    ("number", "added", "result"), [(255, 1, 0), (100, 100, 200), (200, 100, 44)]
)
def test_rfc_1982_additions(number: int, added: int, result: int) -> None:
    assert sequence_step(number * 256, result * 256) == added * 256


def test_half_the_numbers_away_is_undefined_in_rfc_1982_and_behind_here() -> None:
    half = SEQUENCE_WRAP // 2
    for number in (0, 1, 12_345, half, SEQUENCE_WRAP - 1):
        assert sequence_step(number, (number + half) % SEQUENCE_WRAP) == -half
        assert sequence_step(number, (number + half - 1) % SEQUENCE_WRAP) == half - 1


def test_a_step_is_the_shortest_way() -> None:
    assert sequence_step(65_535, 0) == 1
    assert sequence_step(0, 65_535) == -1
    assert sequence_step(7, 7) == 0


def test_frames_lost_are_counted_over_the_wrap() -> None:
    # The 8-bit stream 250 251 253 255 0 1 4 5 (12 expected, 8 received, 4 lost; the reckoning of
    # RFC 3550 A.3, from memory) moved to the wrap of 16 bits.
    order, missed = Order(), []
    for sequence in (65_530, 65_531, 65_533, 65_535, 0, 1, 4, 5):
        clock_us = 5_000_000 + 10_000 * ((sequence + 6) % SEQUENCE_WRAP)
        missed.append(order.place(sequence, clock_us, None).missed)
    assert missed == [0, 0, 1, 1, 0, 0, 2, 0]


def test_the_first_frame_is_where_its_clock_says(car: Car) -> None:
    assert car.frame() == Place(5_010_000)


def test_frames_that_follow_go_on(car: Car) -> None:
    assert [car.frame().vehicle_us for _ in range(3)] == [5_010_000, 5_020_000, 5_030_000]


def test_several_frames_may_have_one_clock_reading(car: Car) -> None:
    car.frame()
    for number in range(1, 4):
        assert car.hear(car.sequence + number, car.clock_us) == Place(car.clock_us)


def test_a_gap_is_counted_before_the_frame_that_follows(car: Car) -> None:
    car.frame()
    assert car.frame(lost=7) == Place(5_090_000, missed=7)
    assert car.frame().missed == 0


def test_the_clock_wraps_and_goes_on(car: Car) -> None:
    car.clock_us = CLOCK_WRAP_US - 25_000
    places = [car.frame() for _ in range(5)]
    assert [each.vehicle_us - CLOCK_WRAP_US for each in places] == [
        -15_000, -5_000, 5_000, 15_000, 25_000,
    ]  # fmt: skip
    assert not any(each.rebooted or each.late or each.missed for each in places)


@pytest.mark.parametrize("wraps", [0, 1, 2, 7])
def test_a_silence_of_any_length_is_bridged_by_the_arrival_time(wraps: int) -> None:
    car = Car()
    car.frame()
    place = car.frame(silent_s=wraps * WRAP_S + 1800)
    assert not place.rebooted
    assert place.vehicle_us == 5_020_000 + wraps * CLOCK_WRAP_US + 1_800_000_000


def test_a_silence_is_bridged_though_the_two_clocks_drift() -> None:
    # 100 parts in a million, worse than a usual quartz, over twelve hours.
    car = Car()
    car.frame()
    car.at_s += 12 * 3600 * 1e-4
    place = car.frame(silent_s=12 * 3600)
    assert place.vehicle_us == 5_020_000 + 12 * 3_600_000_000
    assert not place.rebooted


def test_without_arrival_times_half_a_wrap_is_bridged() -> None:
    car = Car(timed=False)
    car.frame()
    place = car.frame(silent_s=WRAP_S / 2 - 1)
    assert not place.rebooted
    assert place.vehicle_us == car.clock_us


def test_a_loss_longer_than_the_counter_is_never_overstated() -> None:
    car = Car()
    car.frame()
    place = car.frame(lost=SEQUENCE_WRAP + 5)
    assert (place.missed, place.rebooted) == (5, False)


def test_a_reboot_is_told(car: Car) -> None:
    car.clock_us = 100_000_000
    before = car.frame()
    place = car.switched_on_again(after_s=1.5)
    assert place.rebooted
    assert place.missed == 0
    assert place.vehicle_us == before.vehicle_us + (1_500_000 if car.timed else 0)
    # The unrolled clock goes on from there.
    after = car.frame()
    assert after.vehicle_us == place.vehicle_us + 10_000
    assert not after.rebooted


def test_a_reboot_is_told_from_a_wrap_where_arrivals_are_known() -> None:
    car = Car(clock_us=CLOCK_WRAP_US - 15_000_000, sequence=40_000)
    car.frame()
    # 15 s before the wrap the car is switched off and on: its clock is 15.3 s further on, which
    # in 1.5 s it cannot be.
    assert car.switched_on_again(after_s=1.5).rebooted


def test_a_reboot_shortly_before_a_wrap_shows_in_the_sequence_numbers() -> None:
    car = Car(clock_us=CLOCK_WRAP_US - 5_000_000, sequence=40_000)
    car.frame()
    assert car.switched_on_again(after_s=1.5).rebooted


def test_more_frames_than_a_car_can_send_are_a_reboot_not_a_loss(car: Car) -> None:
    car.frame()
    car.clock_us += 3_000_000
    car.at_s += 3.0
    assert car.hear(car.sequence + 6100, car.clock_us).rebooted


def test_a_car_plugged_in_again_at_once_is_a_reboot() -> None:
    # On for half a second, off for four: the clock is back by less than a late frame's.
    car = Car(clock_us=200_000)
    for _ in range(30):
        car.frame()
    place = car.switched_on_again(after_s=4.0)
    assert place.rebooted
    assert place.vehicle_us == 500_000 + 4_000_000


def test_a_frame_overtaken_is_late_and_moves_nothing(car: Car) -> None:
    for _ in range(5):
        car.frame()
    late = car.hear(car.sequence - 2, car.clock_us - 20_000)
    assert late == Place(car.clock_us - 20_000, late=True)
    assert car.frame() == Place(car.clock_us)


def test_a_frame_heard_twice_is_late(car: Car) -> None:
    car.frame()
    first = car.frame()
    assert car.hear(car.sequence, car.clock_us) == first._replace(late=True)
    assert car.frame().missed == 0


def test_frames_in_the_wrong_order_over_both_wraps(car: Car) -> None:
    car.clock_us, car.sequence = CLOCK_WRAP_US - 15_000, SEQUENCE_WRAP - 2
    car.frame()
    car.hear(car.sequence + 2, car.clock_us + 20_000)
    overtaken = car.hear(car.sequence + 1, car.clock_us + 10_000)
    assert overtaken == Place(CLOCK_WRAP_US + 5_000, late=True)


def test_a_fix_is_stamped_when_measured_and_the_clock_keeps_its_newest_reading(car: Car) -> None:
    car.frame()
    fix = car.hear(car.sequence + 1, car.clock_us - 80_000)
    assert fix == Place(car.clock_us - 80_000)
    car.sequence += 1
    assert car.frame() == Place(car.clock_us)


def test_a_gap_before_a_frame_with_an_earlier_clock_is_counted(car: Car) -> None:
    car.frame()
    assert car.hear(car.sequence + 4, car.clock_us - 80_000).missed == 3


def test_an_earlier_clock_behind_an_impossible_gap_is_a_reboot(car: Car) -> None:
    car.frame()
    assert car.hear(car.sequence + 20_000, car.clock_us - 80_000).rebooted


def test_a_motion_frame_overtaken_by_a_fix_is_late(car: Car) -> None:
    # The fix has the later number and the earlier clock; the motion frame comes after it.
    car.frame()
    car.hear(car.sequence + 2, car.clock_us - 80_000)
    overtaken = car.hear(car.sequence + 1, car.clock_us + 10_000)
    assert overtaken == Place(car.clock_us + 10_000, late=True)


def test_a_backlog_handed_over_at_once_is_no_reboot() -> None:
    car = Car()
    car.frame()
    car.at_s += 30.0
    for number in range(1, 3001):
        place = car.hear(car.sequence + number, car.clock_us + 10_000 * number)
        assert place == Place(car.clock_us + 10_000 * number)


def test_a_link_that_catches_up_is_no_reboot() -> None:
    # 8 s of frames arrive within nothing, then the clock runs 8 s ahead of the arrivals.
    car = Car()
    car.frame()
    place = car.hear(car.sequence + 1, car.clock_us + 8_000_000)
    assert (place.rebooted, place.vehicle_us) == (False, car.clock_us + 8_000_000)
