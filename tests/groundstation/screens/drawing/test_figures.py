from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.screens.drawing import figures
from groundstation.screens.drawing.figures import Figure, block
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.text import as_text, cells
from groundstation.units import SpeedUnit
from groundstation.vehicle.snapshot import ControlLink, HeldPeaks, Reading, Snapshot
from tests.groundstation.screens.desks import NOW_S, STANDARD, readings, running


def notes(figure: Figure) -> str:
    return "".join(text for text, _ in figure.note)


def test_speed_in_every_unit() -> None:
    # 38.46 m/s; factors of NIST SP 811, appendix B (from memory).
    shown = {unit: figures.speed(running(), unit).text for unit in SpeedUnit}
    assert shown == {SpeedUnit.KMH: "138", SpeedUnit.MPH: "86", SpeedUnit.MPS: "38"}


def test_speed_of_a_car_without_a_wheel_sensor_is_the_satellites() -> None:
    channels = readings(speed_mps=None, ground_speed_mps=10.0)
    figure = figures.speed(running(channels=channels), SpeedUnit.KMH)
    assert figure.text == "36"
    assert figure.label == "SPEED km/h sat"


def test_what_is_not_known_is_two_dashes() -> None:
    nothing = Snapshot()
    shown = [
        figures.speed(nothing, SpeedUnit.KMH),
        figures.margin(nothing),
        figures.yaw_rate(nothing),
        figures.lateral(nothing),
        figures.vertical(nothing.peaks),
    ]
    assert {figure.text for figure in shown} == {"--"}


def test_a_known_zero_is_zero() -> None:
    snapshot = running(channels=readings(speed_mps=0.0, yaw_rate_dps=0.0, accel_y_g=0.0))
    assert figures.speed(snapshot, SpeedUnit.KMH).text == "0"
    assert figures.yaw_rate(snapshot).text == "0"
    assert figures.lateral(snapshot).text == "0.0"


def test_a_stale_figure_keeps_its_value_and_says_its_age() -> None:
    snapshot = running(channels=readings(NOW_S - 3.2, stale=True, **STANDARD))
    figure = figures.speed(snapshot, SpeedUnit.KMH)
    assert figure.text == "138"
    assert figure.age_s == pytest.approx(3.2)
    drawn = block(figure, width=24, scale=2)
    assert "3.2 s ago" in as_text(drawn)
    assert "▒" in as_text(drawn)
    assert not any(ink is Ink.FIGURE for row in drawn for _, ink in row)


def test_a_figure_that_is_now_is_solid() -> None:
    drawn = as_text(block(figures.speed(running(), SpeedUnit.KMH), width=24, scale=2))
    assert "▒" not in drawn
    assert "ago" not in drawn


def test_the_last_margin_before_a_silence_is_worked_out_from_the_last_report() -> None:
    silent = running(
        channels=readings(NOW_S - 1.0, stale=True, control_rssi_dbm=-80.0),
        control=ControlLink(threshold_dbm=-100.0, stale=True),
    )
    figure = figures.margin(silent)
    assert figure.text == "20"
    assert figure.age_s == pytest.approx(1.0)


def test_a_margin_near_its_end_shows_a_tenth() -> None:
    def shown(margin_db: float) -> str:
        return figures.margin(running(control=replace(running().control, margin_db=margin_db))).text

    assert [shown(value) for value in (31.4, 9.96, 9.9, 2.6, -2.6)] == [
        "31", "10", "9.9", "2.6", "-3",
    ]  # fmt: skip


def test_a_margin_without_a_threshold_says_what_is_missing() -> None:
    link = replace(running().control, threshold_dbm=None, margin_db=None)
    figure = figures.margin(running(control=link))
    assert figure.text == "--"
    assert "no threshold" in notes(figure)


def test_an_unclipped_peak_is_a_value() -> None:
    figure = figures.vertical(HeldPeaks(7.4, -2.1))
    assert figure.text == "7.4"
    assert figure.small == ("lowest", "-2.1")
    assert not figure.note


@pytest.mark.parametrize(
    ("high", "low", "said", "text"),
    [
        (15.98, -6.3, "≥ 16 g clipped", "≥16"),
        (15.6, -6.3, "≥ 15 g clipped", "≥15"),
        (3.99, -0.5, "≥ 4.0 g clipped", "≥4.0"),
        (3.96, -0.5, "≥ 3.9 g clipped", "≥3.9"),
        (4.1, -15.98, "≤ -16 g clipped", "≤-16"),
    ],
)
def test_a_clipped_peak_is_at_least_never_a_value(
    high: float, low: float, said: str, text: str
) -> None:
    figure = figures.vertical(HeldPeaks(high, low, clipped=True))
    assert said in notes(figure)
    assert figure.text == text
    drawn = block(figure, width=32, scale=1)
    assert said in as_text(drawn)


def test_the_clipped_mark_is_kept_where_there_is_no_room_for_both() -> None:
    drawn = block(figures.vertical(HeldPeaks(15.98, -6.3, clipped=True)), width=20, scale=1)
    assert "≥ 16 g clipped" in as_text(drawn)


def test_a_note_gives_way_to_the_label() -> None:
    drawn = as_text(block(figures.speed(running(), SpeedUnit.KMH), width=18, scale=1))
    assert drawn.startswith(" SPEED km/h ")
    assert "peak" not in drawn


def test_figures_end_at_one_place_whatever_they_say() -> None:
    narrow = block(Figure("X", "7", "888"), width=30, scale=2)
    wide = block(Figure("X", "177", "888"), width=30, scale=2)
    ends = {len(row[0][0].rstrip()) for row in (narrow[1], wide[1])}
    assert len(ends) == 1


def test_text_that_is_too_wide_gets_a_smaller_scale_and_at_last_plain_letters() -> None:
    figure = Figure("X", "1888", "888")
    assert large("1888", 1)[0] in as_text(block(figure, width=24, scale=2))
    assert " 1888 " in as_text(block(figure, width=9, scale=2))


@pytest.mark.parametrize(("width", "scale"), [(80, 2), (120, 3)])
def test_a_rule_keeps_neighbours_from_being_read_as_one_number(width: int, scale: int) -> None:
    drawn = figures.figures(running(), unit=SpeedUnit.KMH, width=width, scale=scale, lower_scale=1)
    upper = as_text(drawn[1 : 1 + len(large("8", scale))]).splitlines()
    assert all(row.count("┃") == 2 for row in upper)
    borders = {row.index("┃") for row in upper}
    assert len(borders) == 1
    border = borders.pop()
    assert all(row[border - 1] == row[border + 1] == " " for row in upper)


@pytest.mark.parametrize("width", [1, 5, 20, 80, 120, 200])
@pytest.mark.parametrize(("scale", "lower_scale"), [(1, 0), (1, 1), (2, 1), (3, 2), (4, 3)])
def test_every_row_is_as_wide_as_the_screen(width: int, scale: int, lower_scale: int) -> None:
    drawn = figures.figures(
        running(), unit=SpeedUnit.KMH, width=width, scale=scale, lower_scale=lower_scale
    )
    assert {cells(row) for row in drawn} == {width}


def test_booleans_and_text_are_no_figures() -> None:
    channels = {"speed_mps": Reading("fast", 0.0, NOW_S, False)}
    channels |= {"yaw_rate_dps": Reading(True, 0.0, NOW_S, False)}
    snapshot = running(channels=channels)
    assert figures.speed(snapshot, SpeedUnit.KMH).text == "--"
    assert figures.yaw_rate(snapshot).text == "--"
