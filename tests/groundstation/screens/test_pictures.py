"""Pictures of every situation, compared with those kept beside this file.

A changed picture is looked at, then kept with `pytest --snapshot-update`.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest

from tests.groundstation.screens.desks import scenes
from tests.groundstation.screens.showing import shown_app

Compare = Callable[..., bool]

SMALL, LARGE = (80, 24), (120, 40)


@pytest.mark.parametrize("name", scenes())
def test_dark_80x24(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown_app(scenes()[name]), terminal_size=SMALL)


@pytest.mark.parametrize("name", scenes())
def test_sunlight_120x40(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown_app(scenes()[name], "sunlight"), terminal_size=LARGE)


@pytest.mark.parametrize("name", ["clear", "lift", "stale", "counting"])
def test_sunlight_80x24(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown_app(scenes()[name], "sunlight"), terminal_size=SMALL)


@pytest.mark.parametrize("name", ["clear", "lift", "stale", "counting", "lift_now"])
def test_dark_120x40(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown_app(scenes()[name]), terminal_size=LARGE)


def test_help(snap_compare: Compare) -> None:
    app = shown_app(scenes()["paused"])
    assert snap_compare(app, terminal_size=SMALL, press=["question_mark"])


def test_distance_page(snap_compare: Compare) -> None:
    assert snap_compare(shown_app(scenes()["counting"]), terminal_size=SMALL, press=["d"])


BIG = ["clear", "counting", "lift_now", "stale", "paused", "trouble"]


@pytest.mark.parametrize("name", BIG)
def test_big_figures_dark_80x24(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown_app(scenes()[name]), terminal_size=SMALL, press=["b"])


@pytest.mark.parametrize("name", ["counting", "lift_now", "paused"])
def test_big_figures_sunlight_120x40(snap_compare: Compare, name: str) -> None:
    app = shown_app(scenes()[name], "sunlight")
    assert snap_compare(app, terminal_size=LARGE, press=["b"])


def test_own_channels_page(snap_compare: Compare) -> None:
    app = shown_app(scenes()["own_channels"])
    assert snap_compare(app, terminal_size=SMALL, press=["c"])
