from __future__ import annotations

import pytest

from groundstation.radio.level import Limits
from groundstation.screens.drawing.axis import Axis
from groundstation.screens.drawing.charts import Chart, Limit, charts, draw
from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import as_text, cells
from groundstation.units import SpeedUnit
from groundstation.vehicle.traces import TICK_S, Traces
from tests.groundstation.screens.desks import driven


def drawn(
    traces: Traces,
    *,
    width: int = 80,
    rows: int = 6,
    wide: bool = False,
    unit: SpeedUnit = SpeedUnit.KMH,
) -> list[Line]:
    return charts(
        traces,
        unit=unit,
        limits=Limits(),
        full_scale_g=16.0,
        width=width,
        rows=rows,
        wide=wide,
    )


def margin_chart(*spans: tuple[float, float] | None) -> Chart:
    return Chart(
        name="margin",
        short_name="margin",
        unit="dB",
        spans=spans,
        axis=Axis(0.0, 40.0),
        limits=(Limit(10.0), Limit(3.0, "╌")),
        ink=Ink.MARGIN_AREA,
        solid=min,
    )


@pytest.mark.parametrize("width", [1, 20, 79, 80, 121, 200])
@pytest.mark.parametrize("rows", [0, 1, 2, 3, 5, 6, 9, 14, 25])
@pytest.mark.parametrize("wide", [False, True])
def test_charts_fill_their_box_exactly(width: int, rows: int, wide: bool) -> None:
    for traces in (Traces(), driven()):
        box = drawn(traces, width=width, rows=rows, wide=wide)
        assert len(box) == rows
        assert all(cells(row) == width for row in box)


def test_an_80_column_screen_names_four_charts() -> None:
    text = as_text(drawn(driven()))
    assert all(name in text for name in ("speed", "margin", "yaw", "lat g"))


def test_a_wide_screen_shows_all_five_with_units_and_time() -> None:
    text = as_text(drawn(driven(), width=120, rows=14, wide=True))
    for name in ("speed km/h", "margin dB", "yaw rate deg/s", "lateral g", "vertical g"):
        assert f"{name}, last 51 s" in text


def test_speed_is_charted_in_the_unit_of_the_figures() -> None:
    # The fastest is 39.4 m/s: 141.8 km/h, 88.1 mph; the axis ends at the next round number.
    assert "150 ┤" in as_text(drawn(driven(), unit=SpeedUnit.KMH))
    assert "100 ┤" in as_text(drawn(driven(), unit=SpeedUnit.MPH))
    assert "50 ┤" in as_text(drawn(driven(), unit=SpeedUnit.MPS))


def test_the_margin_chart_draws_the_weakest_moment_of_every_column() -> None:
    swung = draw(margin_chart((20.0, 40.0)), width=9, rows=3)
    weakest = draw(margin_chart((20.0, 20.0)), width=9, rows=3)
    strongest = draw(margin_chart((40.0, 40.0)), width=9, rows=3)
    assert swung == weakest
    assert swung != strongest


def test_a_margin_beyond_the_head_of_its_axis_is_said_to_be() -> None:
    assert "≥40 ┤" in as_text(draw(margin_chart((35.0, 52.0)), width=9, rows=3))
    assert "   40 ┤" in as_text(draw(margin_chart((35.0, 40.0)), width=9, rows=3))


def test_thresholds_are_lines_across_the_plot() -> None:
    rows = draw(margin_chart(None, None, (40.0, 40.0), (40.0, 40.0)), width=12, rows=7)
    lines = {as_text([row]) for row in rows}
    assert "    10 ┤────" in "\n".join(lines)
    assert any("╌╌╌╌" in text for text in lines)
    inks = {ink for row in rows for text, ink in row if "─" in text}
    assert inks == {Ink.LIMIT, Ink.MARGIN_LIMIT_CUT}


def test_a_threshold_does_not_hide_the_edge_of_an_area() -> None:
    # Five rows of 8 dB: the line at 10 dB lies in the row from 8 to 16 dB.
    plot = draw(margin_chart((12.0, 12.0), (8.0, 8.0), (16.0, 16.0)), width=11, rows=6)
    assert as_text([plot[4]]) == "    10 ┤▄──"


def test_thresholds_off_the_axis_are_not_drawn() -> None:
    chart = margin_chart(None, None)
    raised = draw(
        Chart(
            name=chart.name,
            short_name=chart.short_name,
            unit=chart.unit,
            spans=chart.spans,
            axis=Axis(0.0, 40.0),
            limits=(Limit(55.0),),
            ink=chart.ink,
            solid=min,
        ),
        width=12,
        rows=6,
    )
    assert "─" not in as_text(raised)


def test_one_shock_between_two_redrawings_is_drawn() -> None:
    calm, shaken = Traces(), Traces()
    for tick in range(600):
        calm.add(tick * TICK_S, {"accel_y_g": (-0.05, 0.05)})
        high = 0.48 if tick == 444 else 0.05
        shaken.add(tick * TICK_S, {"accel_y_g": (-0.05, high)})
    assert as_text(drawn(calm)) != as_text(drawn(shaken))


def test_silence_is_a_gap() -> None:
    def foot_of_speed(traces: Traces) -> str:
        return as_text([drawn(traces)[2]])[8:39]

    assert foot_of_speed(driven(silent_s=8.0)).endswith("█" + " " * 8)
    assert " " not in foot_of_speed(driven())
