from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.inbound import LinkState
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.links import (
    control_panel,
    control_row,
    telemetry_panel,
    telemetry_row,
)
from groundstation.screens.drawing.text import as_text, cells
from groundstation.vehicle.snapshot import ControlLink, Snapshot, TelemetryLink
from tests.groundstation.screens.desks import NOW_S, readings, running

BUSY = "the port is busy: close the other program"


def control(snapshot: Snapshot, width: int = 80) -> str:
    return as_text([control_row(snapshot, width)])


def telemetry(snapshot: Snapshot, width: int = 80) -> str:
    return as_text([telemetry_row(snapshot, width)])


def test_both_links_fit_in_80_columns() -> None:
    assert control(running()).rstrip() == (
        " CONTROL    -69 dBm  SNR 9 dB  packets 100 %  antenna 1  failsafe off, had 0"
    )
    assert telemetry(running()).rstrip() == (
        " TELEMETRY  99 frames/s  age 0.01 s  lost 0.4 %  bad 3  delay +6 ms  jitter 1 ms"
    )


def test_panels_say_which_way_each_link_goes() -> None:
    assert "CONTROL LINK  transmitter to car" in as_text(control_panel(running(), 34))
    assert "TELEMETRY LINK  car to laptop" in as_text(telemetry_panel(running(), 32))


def test_the_control_panel_says_where_the_threshold_comes_from() -> None:
    text = as_text(control_panel(running(), 34))
    assert "threshold -100 dBm  ident frame" in text
    assert "ident frame" not in as_text(control_panel(running(), 26))


def test_nothing_known_is_two_dashes_everywhere() -> None:
    nothing = Snapshot()
    assert control(nothing).split() == (
        [
            "CONTROL",
            "--",
            "dBm",
            "SNR",
            "--",
            "dB",
            "packets",
            "--",
            "%",
            "antenna",
            "--",
            "failsafe",
            "--,",
            "had",
            "--",
        ]
    )
    assert "0 " not in as_text(control_panel(nothing, 34))
    assert "lost -- %" in telemetry(nothing)


def test_a_stale_report_of_the_car_is_marked_with_its_age() -> None:
    snapshot = running(
        control=ControlLink(stale=True, failsafe_active=False),
        channels=readings(NOW_S - 4.0, stale=True, control_rssi_dbm=-80.0),
    )
    assert " 4.0 s ago " in control(snapshot)
    assert " 4.0 s ago " in as_text(control_panel(snapshot, 34))


def test_failsafe_is_loud() -> None:
    snapshot = running(control=replace(running().control, failsafe_active=True, failsafe_count=2))
    row = control_row(snapshot, 80)
    assert (" FAILSAFE ACTIVE ", Ink.TROUBLE) in row
    panel = control_panel(snapshot, 34)
    assert " ACTIVE " in as_text(panel)
    assert "2 so far" in as_text(panel)


def test_a_silent_link_says_for_how_long() -> None:
    snapshot = running(telemetry=replace(running().telemetry, age_s=3.2, frames_per_s=0.0))
    assert " SILENT 3.2 s " in telemetry(snapshot)
    assert "connected" in telemetry(snapshot)
    assert " SILENT 3.2 s " in as_text(telemetry_panel(snapshot, 32))


@pytest.mark.parametrize("state", [LinkState.LOST, LinkState.RETRYING])
def test_a_source_in_trouble_says_what_to_do(state: LinkState) -> None:
    link = replace(running().telemetry, state=state, detail=BUSY)
    row = telemetry_row(running(telemetry=link), 80)
    assert (f" {state.upper()} ", Ink.TROUBLE) in row
    assert BUSY in as_text([row])
    panel = as_text(telemetry_panel(running(telemetry=link), 32))
    assert "the port is busy: close the" in panel
    assert "other program" in panel


def test_what_a_source_in_trouble_says_ends_where_a_sentence_may() -> None:
    detail = "There is no port /dev/pts/2. Plug the receiver in; `groundstation sources` lists more"
    link = replace(running().telemetry, state=LinkState.RETRYING, detail=detail)
    row = telemetry(running(telemetry=link)).rstrip()
    assert row.endswith("There is no port /dev/pts/2. Plug the receiver in…")


def test_counters_of_the_telemetry_panel() -> None:
    link = TelemetryLink(
        state=LinkState.CONNECTED, frames=90, lost=10, rejected=4, unknown=2,
        recent_loss_ratio=0.25, rssi_dbm=-61.0,
    )  # fmt: skip
    text = as_text(telemetry_panel(running(telemetry=link), 32))
    for said in ("lost      25.0 %  10 of 100", "rejected  4  unknown 2", "RSSI      -61 dBm"):
        assert said in text


@pytest.mark.parametrize("width", [1, 10, 26, 34, 80, 200])
def test_rows_are_as_wide_as_asked(width: int) -> None:
    for snapshot in (running(), Snapshot()):
        rows = [control_row(snapshot, width), telemetry_row(snapshot, width)]
        rows += control_panel(snapshot, width) + telemetry_panel(snapshot, width)
        assert {cells(row) for row in rows} == {width}


def test_what_does_not_fit_is_left_out_whole() -> None:
    assert control(running(), 40).rstrip() == " CONTROL    -69 dBm  SNR 9 dB"
