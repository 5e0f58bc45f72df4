"""Whether this computer is ready, found out without changing it."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from groundstation import checkup
from groundstation.checkup import Finding, State
from groundstation.errors import SourceError
from groundstation.sources.ble_listing import BleListing, FoundPeripheral
from groundstation.sources.listing import FoundPort

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


@pytest.mark.parametrize(
    ("size", "environment", "encoding", "state"),
    [
        ((80, 24), {}, "utf-8", State.GOOD),
        ((120, 40), {"COLORTERM": "truecolor"}, "UTF-8", State.GOOD),
        ((79, 24), {}, "utf-8", State.BAD),
        ((80, 23), {}, "utf-8", State.BAD),
        ((80, 24), {}, "ascii", State.BAD),
        ((80, 24), {}, None, State.BAD),
        (None, {}, "utf-8", State.LOOK),
    ],
)
def test_terminal(
    size: tuple[int, int] | None, environment: dict[str, str], encoding: str | None, state: State
) -> None:
    found = checkup.terminal(size and os.terminal_size(size), environment, encoding)
    assert found.state is state
    assert bool(found.hint) is (state is not State.GOOD)


def test_colour_is_left_out_where_asked() -> None:
    found = checkup.terminal(
        os.terminal_size((80, 24)), {"NO_COLOR": "1", "COLORTERM": "truecolor"}, "utf-8"
    )
    assert "NO_COLOR" in found.text


def test_a_port_that_may_not_be_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    reader, writer = os.openpty()
    try:
        port = FoundPort(os.ttyname(writer))
        assert checkup.serial_ports([port]) == Finding("serial", State.GOOD, port.device)
        monkeypatch.setattr(os, "access", lambda *_: False)  # root may open anything
        found = checkup.serial_ports([port])
    finally:
        os.close(reader)
        os.close(writer)
    assert found.state is State.BAD
    assert port.device in found.text
    assert found.hint


def test_no_port_is_worth_a_look() -> None:
    assert checkup.serial_ports([]).state is State.LOOK


def test_a_port_that_vanished_is_no_matter_of_permission() -> None:
    assert checkup.serial_ports([FoundPort("/dev/no-such-port")]).state is State.GOOD


def test_bluetooth() -> None:
    trouble = str(SourceError("The Bluetooth adapter is off", "Switch it on"))
    found = checkup.bluetooth(BleListing(trouble=trouble))
    assert (found.state, found.text, found.hint) == (
        State.LOOK,
        "The Bluetooth adapter is off",
        "Switch it on",
    )
    one = FoundPeripheral("sandpiper", "AA:BB:CC:DD:EE:FF", -60.0, has_uart_service=True)
    assert "1 heard" in checkup.bluetooth(BleListing((one,))).text
    assert "nothing advertises" in checkup.bluetooth(BleListing()).text


def test_sound() -> None:
    assert checkup.sound(installed=True, trouble="").state is State.GOOD
    assert "no device" in checkup.sound(installed=True, trouble="no device").text
    assert "pip install" in checkup.sound(installed=False, trouble="").hint


def test_settings(tmp_path: Path) -> None:
    path, vehicles = tmp_path / "settings.toml", tmp_path / "vehicles"
    vehicles.mkdir()
    path.write_text('units = "mph"\n', encoding="utf-8")
    (vehicles / "sandpiper.toml").write_text("number = 1\n", encoding="utf-8")
    found = checkup.settings(path, asked=path, vehicles=vehicles)
    assert found.state is State.GOOD
    assert "sandpiper" in found.text
    (vehicles / "sandpiper.toml").write_text("numbre = 1\n", encoding="utf-8")
    found = checkup.settings(path, asked=path, vehicles=vehicles)
    assert found.state is State.BAD
    assert "numbre" in found.text


def test_the_folder_need_not_be_there_yet(tmp_path: Path) -> None:
    found = checkup.folder(tmp_path / "not" / "yet")
    assert found.state is State.GOOD
    assert not (tmp_path / "not").exists()


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    assert checkup.folder(tmp_path / "file" / "sessions").state is State.BAD


def test_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(checkup, "LEAST_FREE_MB", 10**12)
    assert checkup.folder(tmp_path).state is State.BAD


def test_the_clock(tmp_path: Path) -> None:
    assert checkup.clock(NOON, tmp_path).state is State.GOOD
    assert checkup.clock(NOON.replace(year=1970), tmp_path).state is State.BAD
    recording = tmp_path / "a.session"
    recording.touch()
    later_s = (NOON + timedelta(hours=1)).timestamp()
    os.utime(recording, (later_s, later_s))
    found = checkup.clock(NOON, tmp_path)
    assert found.state is State.BAD
    assert "later" in found.text
