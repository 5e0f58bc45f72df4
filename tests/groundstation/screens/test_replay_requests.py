from __future__ import annotations

from dataclasses import replace
from math import inf

import pytest

from groundstation.screens import replay_requests as requests
from tests.groundstation.screens.desks import FakeReplay


def test_pause_and_go_on() -> None:
    replay = FakeReplay()
    requests.toggle_pause(replay)
    assert replay.state.paused
    requests.toggle_pause(replay)
    assert not replay.state.paused


def test_at_the_end_it_begins_again() -> None:
    replay = FakeReplay(186.0, paused=True)
    replay.state = replace(replay.state, ended=True)
    requests.toggle_pause(replay)
    assert replay.state.position_s == 0.0
    assert not replay.state.paused


def test_skipping_is_five_seconds() -> None:
    replay = FakeReplay(42.0)
    requests.skip_forward(replay)
    assert replay.state.position_s == 47.0
    requests.skip_back(replay)
    requests.skip_back(replay)
    assert replay.state.position_s == 37.0


def test_a_step_holds_and_moves_one_tick() -> None:
    replay = FakeReplay(42.0)
    requests.step_forward(replay)
    assert replay.state.paused
    assert replay.state.position_s == pytest.approx(42.05)
    requests.step_back(replay)
    assert replay.state.position_s == pytest.approx(42.0)


def test_speeds_go_from_a_tenth_to_fifty_and_then_as_fast_as_possible() -> None:
    replay, seen = FakeReplay(), [1.0]
    for _ in range(12):
        requests.faster(replay)
        seen.append(replay.state.speed)
    assert seen[:7] == [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, inf]
    assert seen[-1] == inf
    for _ in range(15):
        requests.slower(replay)
    assert replay.state.speed == 0.1


def test_a_speed_between_two_steps_goes_to_the_next() -> None:
    replay = FakeReplay()
    replay.set_speed(3.0)
    requests.faster(replay)
    assert replay.state.speed == 5.0
    replay.set_speed(3.0)
    requests.slower(replay)
    assert replay.state.speed == 2.0


def test_bookmarks_one_after_another_and_back() -> None:
    replay = FakeReplay(0.0, paused=True)
    visited = []
    for _ in range(5):
        requests.next_bookmark(replay)
        visited.append(replay.state.position_s)
    assert visited == [12.0, 41.9, 77.5, 130.0, 130.0]
    for _ in range(4):
        requests.previous_bookmark(replay)
        visited.append(replay.state.position_s)
    assert visited[5:] == [77.5, 41.9, 12.0, 0.0]


def test_going_back_while_running_passes_the_bookmark_just_left() -> None:
    replay = FakeReplay(42.3)
    requests.previous_bookmark(replay)
    assert replay.state.position_s == 12.0


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("83", 83.0), ("1:23", 83.0), ("1:23.4", 83.4), ("0:05", 5.0), ("1:02:03", 3723.0), ("7.", 7)],
)
def test_times(typed: str, seconds: float) -> None:
    assert requests.parse_time(typed) == pytest.approx(seconds)


@pytest.mark.parametrize("typed", ["", ":", "1:", ":5", "1:2:3:4", "-3", "1e3", "abc"])
def test_what_is_no_time(typed: str) -> None:
    assert requests.parse_time(typed) is None


def test_every_request_of_a_key_is_known() -> None:
    replay = FakeReplay()
    for request in requests.REQUESTS.values():
        request(replay)
