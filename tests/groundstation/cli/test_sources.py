"""`sources` lists what can be opened."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from groundstation.__main__ import main
from groundstation.clock import Clock
from groundstation.sources import ble_listing, listing
from groundstation.sources.ble_listing import BleListing, FoundPeripheral
from groundstation.sources.listing import FoundPort

PORTS = [FoundPort("/dev/ttyUSB0", "USB adapter", vid=0x0403, pid=0x6001, serial_number="A1")]
CARS = (FoundPeripheral("Sand\x1bpiper", "AA:BB:CC:DD:EE:FF", -61.0, has_uart_service=True),)


def there(monkeypatch: pytest.MonkeyPatch, ports: list[FoundPort], ble: BleListing) -> None:
    async def list_ble(seconds: float, *, clock: Clock) -> BleListing:
        return ble

    monkeypatch.setattr(listing, "list_serial_ports", lambda: ports)
    monkeypatch.setattr(ble_listing, "list_ble", list_ble)


def test_what_is_there_is_listed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    there(monkeypatch, PORTS, BleListing(CARS))
    assert main(["sources"]) == 0
    out = capsys.readouterr().out
    assert "✓ serial:/dev/ttyUSB0" in out
    assert "USB 0403:6001" in out
    assert "ble:AA:BB:CC:DD:EE:FF" in out
    assert "-61 dBm" in out
    assert "\x1b" not in out


def test_as_json(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    there(monkeypatch, PORTS, BleListing(CARS))
    assert main(["sources", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["serial"][0]["vid"], found["ble"][0]["rssi_dbm"]) == (0x0403, -61.0)
    assert found["ble_trouble"] is None


def test_nothing_there_is_said_and_is_no_error(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    there(monkeypatch, [], BleListing(trouble="No Bluetooth adapter was found."))
    assert main(["sources"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "! no serial port is there; is the adapter plugged in?",
        "! No Bluetooth adapter was found.",
    ]


def test_live_without_a_source_needs_a_terminal_to_ask_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["live"]) == 2
    assert "Live needs a source" in capsys.readouterr().err


def test_a_vehicle_without_a_source_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text("")
    (tmp_path / "vehicles").mkdir()
    (tmp_path / "vehicles" / "dart.toml").write_text("number = 1")
    assert main(["live", "dart", "--settings", str(settings)]) == 2
    assert "names no source" in capsys.readouterr().err
