"""Session events in words, and words in rows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.inbound import LinkState
from groundstation.radio.level import Level
from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
from groundstation.wording import clock_text, describe, filled, kind_of, printable

PASS = PassEnded(
    9.0,
    9.0,
    number=2,
    started_vehicle_s=1.0,
    ended_vehicle_s=9.0,
    peak_speed_mps=50.0,
    lowest_margin_db=7.25,
    accel_z_max_g=16.0,
    clipped=True,
)


@pytest.mark.parametrize(
    ("event", "kind", "text"),
    [
        (LevelChanged(1.0, 1.0, Level.LIFT, Level.THIN, "why"), "level", "LIFT: why"),
        (SourceChanged(1.0, None, LinkState.LOST, "cable gone"), "source", "lost: cable gone"),
        (SourceChanged(1.0, None, LinkState.LOST, ""), "source", "lost"),
        (SourceChanged(1.0, None, LinkState.LOST, "Lost it"), "source", "Lost it"),
        (
            PASS,
            "pass",
            "pass 2: peak 180.0 km/h, lowest margin 7.2 dB, shocks to at least 16.0 g",
        ),
        (Noted(1.0, None, "mark", "gust\x1b[2J"), "mark", "gust\ufffd[2J"),
    ],
)
def test_events_in_words(event: SessionEvent, kind: str, text: str) -> None:
    assert (kind_of(event), describe(event)) == (kind, text)


def test_a_pass_is_told_with_all_that_is_known_of_it() -> None:
    told = replace(
        PASS,
        satellite_peak_mps=48.0,
        lowest_margin_at_m=141.6,
        yaw_rate_abs_dps=26.4,
        braking_mps2=7.61,
    )
    assert describe(told) == (
        "pass 2: peak 180.0 km/h (satellite 172.8), lowest margin 7.2 dB at 142 m, yaw 26 deg/s, "
        "shocks to at least 16.0 g, braking 7.6 m/s²"
    )


def test_speed_is_told_in_the_unit_that_was_asked_for() -> None:
    assert "peak 111.8 mph" in describe(PASS, SpeedUnit.MPH)


def test_nothing_moves_a_cursor_or_turns_a_line_round() -> None:
    assert printable("a\x07b\u202ec\nd") == "a\ufffdb\ufffdc\ufffdd"


@pytest.mark.parametrize(
    ("at_s", "text"), [(0.0, "0:00.0"), (0.3, "0:00.3"), (187.44, "3:07.4"), (3600.0, "60:00.0")]
)
def test_times(at_s: float, text: str) -> None:
    assert clock_text(at_s) == text


@pytest.mark.parametrize("width", range(12, 60))
def test_no_row_is_broken_between_a_number_and_its_unit_or_within_a_command(width: int) -> None:
    text = "under 10 dB at 120 m: stop 2.5 m/s² later, or `groundstation plan`, 3 marks, 5 %."
    rows = filled(text, width, first="- ", then="  ")
    assert " ".join(row[2:] for row in rows) == text
    assert [row[:2] for row in rows] == ["- ", *["  "] * (len(rows) - 1)]
    for whole in ("10 dB", "120 m", "2.5 m/s²", "`groundstation plan`", "5 %"):
        assert any(whole in row for row in rows)
    if width >= 24:
        assert all(len(row) <= width for row in rows)
