"""The head, the event list, a builder's channels, the waiting screen."""

from __future__ import annotations

import pytest

from groundstation.desk import RecordState
from groundstation.inbound import LinkState
from groundstation.screens.drawing.happenings import happenings
from groundstation.screens.drawing.header import header, trouble_row
from groundstation.screens.drawing.ink import Ink
from groundstation.screens.drawing.own_channels import own_channels, own_table
from groundstation.screens.drawing.text import as_text, cells
from groundstation.screens.drawing.waiting import waiting
from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import LevelChanged, Noted, PassEnded, SourceChanged
from groundstation.vehicle.snapshot import Identity, Level, Snapshot, TelemetryLink
from protocol import standard_table
from tests.groundstation.screens.desks import EVENTS, NOW_S, STANDARD, readings, running

HOSTILE = "[red]x[/]\x1b[2J\n\U0001f3ce" + "y" * 200
OWN_KIND = """
[[kind]]
name = "motor"
code = 0x80

[[kind.field]]
name = "motor_speed_rpm"
type = "u16"
min = 0
max = 60000
unknown = 65535
label = "motor"

[[kind.field]]
name = "tyre_temperature_c"
type = "i16"
per_unit = 10
min = -50
max = 300
unknown = -32768
digits = 1
label = "tyre"
"""


def head(record: RecordState, *, is_replay: bool = False, identity: Identity | None = None) -> str:
    row = header(
        identity=identity or Identity(3, "Sandpiper"),
        title="serial:/dev/ttyUSB0",
        record=record,
        is_replay=is_replay,
        width=80,
    )
    assert cells(row) == 80
    return as_text([row])


PASS = PassEnded(
    *(38.2, 475.4, 1, 440.1, 475.4, 39.2),
    lowest_margin_db=27.4,
    accel_z_max_g=7.4,
    clipped=False,
    satellite_peak_mps=38.9,
    lowest_margin_at_m=210.0,
    yaw_rate_abs_dps=31.0,
    braking_mps2=7.6,
)


def test_the_summary_of_a_pass_has_two_rows_where_one_is_too_short() -> None:
    rows = happenings([*EVENTS[:1], PASS], unit=SpeedUnit.KMH, width=80, rows=3)
    assert [cells(row) for row in rows] == [80, 80, 80]
    text = as_text(rows)
    assert "pass 1: peak 141.1 km/h (satellite 140.0)" in text
    assert "braking 7.6 m/s²" in text
    wide = happenings([PASS], unit=SpeedUnit.KMH, width=160, rows=2)
    assert as_text(wide[1:]).strip() == ""


@pytest.mark.parametrize("level", list(Level))
def test_a_long_reason_goes_on_below_its_beginning(level: Level) -> None:
    reason = "stop margin 9.7 dB (5 %), under 10 dB: stops at 172 m"
    event = LevelChanged(6.0, 1.0, level, None, reason)
    first, second = happenings([event], unit=SpeedUnit.KMH, width=54, rows=2)
    assert {cells(first), cells(second)} == {54}
    under = as_text([first]).index("stop margin")
    assert as_text([second])[:under].strip() == ""
    whole = f"{as_text([first])[under:].strip()} {as_text([second])[under:].strip()}"
    assert whole == reason
    (only,) = happenings([event], unit=SpeedUnit.KMH, width=54, rows=1)
    assert as_text([only]).rstrip().endswith("…")


def test_a_list_never_begins_in_the_middle_of_a_summary() -> None:
    (only,) = happenings([*EVENTS, PASS], unit=SpeedUnit.KMH, width=80, rows=1)
    assert "pass 1: peak 141.1 km/h" in as_text([only])
    assert "…" in as_text([only])
    later = happenings([PASS, EVENTS[-1]], unit=SpeedUnit.KMH, width=80, rows=2)
    assert "pass 1: peak 141.1 km/h" in as_text(later[:1])


def test_the_head_names_vehicle_source_and_recording() -> None:
    text = head(RecordState(True, "first.session"))
    assert text.startswith(" Sandpiper #3  serial:/dev/ttyUSB0")
    assert text.endswith("● REC first.session ")


def test_the_head_says_when_nothing_is_recorded() -> None:
    assert "not recording" in head(RecordState())
    assert "NOT RECORDING" in head(RecordState(trouble="the disk is full"))


def test_a_replay_is_marked_as_one_and_records_nothing() -> None:
    text = head(RecordState(), is_replay=True)
    assert text.startswith(" REPLAY ")
    assert "ecording" not in text.replace("REPLAY", "")


def test_other_vehicles_on_the_channel_are_named() -> None:
    assert "also heard #4 #9" in head(RecordState(), identity=Identity(3, None, None, (4, 9)))


def test_a_hostile_name_stays_in_the_head() -> None:
    text = head(RecordState(True, HOSTILE), identity=Identity(1, HOSTILE))
    assert "[red]x[/]" in text
    assert text.isprintable()


def test_recording_trouble_fills_a_row_with_cause_and_loss() -> None:
    row = trouble_row(RecordState(trouble="the disk is full: make room", lost_bytes=512), 80)
    assert {ink for _, ink in row} == {Ink.TROUBLE}
    text = as_text([row])
    assert "NOT RECORDING  the disk is full: make room" in text
    assert "512 bytes lost" in text


def test_the_newest_events_are_the_last_rows() -> None:
    text = as_text(happenings(EVENTS, unit=SpeedUnit.KMH, width=80, rows=2))
    assert [row.split()[0] for row in text.splitlines()] == ["0:38.2", "0:44.0"]
    assert "peak 141.1 km/h" in text


def test_few_events_leave_blank_rows() -> None:
    rows = happenings(EVENTS[:1], unit=SpeedUnit.KMH, width=60, rows=4, titled=True)
    assert len(rows) == 4
    assert as_text(rows[:2]).split()[:2] == ["EVENTS", "0:00.0"]
    assert not happenings(EVENTS, unit=SpeedUnit.KMH, width=60, rows=0)


def test_speeds_in_events_follow_the_unit() -> None:
    text = as_text(happenings(EVENTS, unit=SpeedUnit.MPH, width=80, rows=9))
    assert "peak 87.7 mph" in text


def test_a_source_is_not_said_to_be_connected_twice() -> None:
    event = SourceChanged(1.0, None, LinkState.CONNECTED, "connected to /dev/ttyUSB0")
    text = as_text(happenings([event], unit=SpeedUnit.KMH, width=60, rows=1))
    assert text.split(maxsplit=1)[1].rstrip() == "source connected to /dev/ttyUSB0"


@pytest.mark.parametrize("level", list(Level))
def test_a_level_in_the_list_has_its_word_and_mark(level: Level) -> None:
    event = LevelChanged(61.0, 1.0, level, None, "why")
    text = as_text(happenings([event], unit=SpeedUnit.KMH, width=60, rows=1))
    assert level in text
    assert "why" in text
    assert "1:01.0" in text


def test_a_hostile_mark_stays_in_its_row() -> None:
    rows = happenings([Noted(1.0, 1.0, "mark", HOSTILE)], unit=SpeedUnit.KMH, width=60, rows=1)
    assert cells(rows[0]) == 60
    assert as_text(rows).isprintable()
    assert "[red]x[/]" in as_text(rows)


def test_only_channels_outside_the_standard_table_are_a_builders_own() -> None:
    channels = readings(**STANDARD, failsafe_count=1, motor_speed_rpm=1)
    assert list(own_channels(running(channels=channels))) == ["motor_speed_rpm"]


def test_own_channels_without_a_table_take_label_and_unit_from_their_names() -> None:
    channels = readings(
        motor_speed_rpm=31250, tyre_temperature_c=61.52, pump_on=True, note="[b]", odd=None
    )
    text = as_text(own_table(running(channels=channels), standard_table(), width=40, rows=9))
    rows = [" ".join(row.split()) for row in text.splitlines()]
    assert rows == [
        "OWN CHANNELS", "motor speed 31250 rpm", "tyre temperature 61.52 °C", "pump on yes",
        "note [b]", "odd --",
    ]  # fmt: skip


def test_own_channels_take_label_and_decimals_from_their_table() -> None:
    table = standard_table().extended(OWN_KIND, "own.toml")
    channels = readings(motor_speed_rpm=31250, tyre_temperature_c=61.52)
    text = as_text(own_table(running(channels=channels), table, width=40, rows=9))
    rows = [" ".join(row.split()) for row in text.splitlines()]
    assert rows == ["OWN CHANNELS", "motor 31250 rpm", "tyre 61.5 °C"]


def test_a_stale_channel_says_its_age() -> None:
    channels = readings(NOW_S - 2.0, stale=True, motor_speed_rpm=7)
    text = as_text(own_table(running(channels=channels), standard_table(), width=60, rows=9))
    assert "7 rpm  2.0 s ago" in text


def test_many_channels_take_a_second_column_and_the_rest_is_counted() -> None:
    channels = readings(**{f"own_{place:02d}": place for place in range(30)})
    snapshot = running(channels=channels)
    wide = own_table(snapshot, standard_table(), width=80, rows=16)
    assert all(f"own {place:02d}" in as_text(wide) for place in range(30))
    short = own_table(snapshot, standard_table(), width=30, rows=6)
    assert as_text(short).splitlines()[-1].strip() == "and 26 more"
    for rows in range(4):
        assert len(own_table(snapshot, standard_table(), width=30, rows=rows)) == rows


def test_no_own_channels_is_said() -> None:
    text = as_text(own_table(running(), standard_table(), width=40, rows=9))
    assert "none heard" in text


def wait(link: TelemetryLink, *, is_replay: bool = False) -> str:
    rows = waiting(
        Snapshot(telemetry=link),
        title="serial:/dev/ttyUSB0",
        is_replay=is_replay,
        width=80,
        rows=21,
    )
    assert len(rows) == 21
    assert {cells(row) for row in rows} == {80}
    return as_text(rows)


def test_waiting_says_for_what_and_why() -> None:
    busy = "the port is busy: close the other program"
    text = wait(TelemetryLink(state=LinkState.RETRYING, detail=busy))
    assert "waiting for frames from serial:/dev/ttyUSB0" in text
    assert " RETRYING " in text
    assert busy in text


def test_waiting_tells_silence_from_garbage() -> None:
    assert "nothing received yet" in wait(TelemetryLink(state=LinkState.CONNECTED))
    opened = "connected to /dev/ttyUSB0 at 57600 baud"
    garbage = wait(TelemetryLink(LinkState.CONNECTED, opened, bytes_received=900, rejected=4))
    assert "900 bytes, but no good frame yet" in garbage
    assert opened in garbage
    assert "Is the baud rate right?" in garbage


def test_a_replay_without_frames_waits_for_nothing() -> None:
    text = wait(TelemetryLink(), is_replay=True)
    assert "no frames up to here in serial:/dev/ttyUSB0" in text


@pytest.mark.parametrize(("width", "rows"), [(1, 1), (10, 2), (20, 0)])
def test_waiting_on_a_tiny_screen(width: int, rows: int) -> None:
    link = TelemetryLink(state=LinkState.LOST, detail="gone")
    drawn = waiting(Snapshot(telemetry=link), title="x", is_replay=False, width=width, rows=rows)
    assert len(drawn) == rows
    assert all(cells(row) == width for row in drawn)
