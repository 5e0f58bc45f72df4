from __future__ import annotations

import os
from pathlib import Path

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from groundstation.sources.listing import FoundPort, list_serial_ports


def port_info(device: str, **known: object) -> ListPortInfo:
    info = ListPortInfo(device)
    for name, value in known.items():
        setattr(info, name, value)
    return info


def found_when(monkeypatch: pytest.MonkeyPatch, ports: list[ListPortInfo], by_id: Path) -> object:
    monkeypatch.setattr(list_ports, "comports", lambda: ports)
    return list_serial_ports(by_id)


def test_each_port_with_what_is_known_of_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    device = tmp_path / "ttyUSB2"
    device.touch()
    by_id = tmp_path / "by-id"
    by_id.mkdir()
    (by_id / "usb-invented-adapter-if00").symlink_to(device)
    ports = [
        port_info(str(tmp_path / "ttyUSB10")),
        port_info(
            str(device), description="Invented adapter", vid=0x1209, pid=1, serial_number="A7"
        ),
    ]
    assert found_when(monkeypatch, ports, by_id) == [
        FoundPort(
            device=str(device),
            description="Invented adapter",
            vid=0x1209,
            pid=1,
            serial_number="A7",
            stable_path=str(by_id / "usb-invented-adapter-if00"),
        ),
        FoundPort(device=str(tmp_path / "ttyUSB10")),
    ]


def test_what_an_adapter_says_of_itself_is_made_printable(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    ports = [port_info("/dev/ttyUSB0", description="\x1b[2Jadapter\n", serial_number="A\x07")]
    assert found_when(monkeypatch, ports, tmp_path) == [
        FoundPort("/dev/ttyUSB0", "\ufffd[2Jadapter\ufffd", serial_number="A\ufffd")
    ]


def test_an_adapter_that_vanishes_while_it_is_read_is_no_error(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def vanished() -> list[ListPortInfo]:
        return [port_info("/dev/ttyUSB0", vid=int(None, 16))]  # type: ignore[call-overload]

    monkeypatch.setattr(list_ports, "comports", vanished)
    assert list_serial_ports() == []


def test_the_real_listing_can_be_had() -> None:
    for port in list_serial_ports():
        assert os.path.exists(port.device) or port.device.startswith("COM")
