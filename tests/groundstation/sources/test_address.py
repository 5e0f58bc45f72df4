from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from groundstation.errors import UnknownSourceError
from groundstation.sources.address import (
    Address,
    BleAddress,
    SerialAddress,
    SimulatedAddress,
    TcpAddress,
    UdpAddress,
    parse_address,
)

UNDERSTOOD: list[tuple[str, Address]] = [
    ("serial:/dev/ttyUSB0", SerialAddress("/dev/ttyUSB0")),
    ("serial:/dev/ttyUSB0?baud=57600", SerialAddress("/dev/ttyUSB0", 57600)),
    ("serial:///dev/ttyUSB0", SerialAddress("/dev/ttyUSB0")),
    ("serial:COM3", SerialAddress("COM3")),
    ("serial:\\\\.\\COM12", SerialAddress("\\\\.\\COM12")),
    (" SERIAL: /dev/ttyACM0 ", SerialAddress("/dev/ttyACM0")),
    ("/dev/ttyUSB0", SerialAddress("/dev/ttyUSB0")),
    ("/dev/ttyUSB0?baud=9600", SerialAddress("/dev/ttyUSB0", 9600)),
    (
        "/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0",
        SerialAddress("/dev/serial/by-path/pci-0000:00:14.0-usb-0:1:1.0-port0"),
    ),
    ("./radio", SerialAddress("./radio")),
    ("../radio", SerialAddress("../radio")),
    ("COM3", SerialAddress("COM3")),
    ("com12", SerialAddress("com12")),
    ("\\\\.\\COM12", SerialAddress("\\\\.\\COM12")),
    ("ble:CAR-1", BleAddress("CAR-1")),
    ("ble://CAR-1", BleAddress("CAR-1")),
    ("BLE: my little car ", BleAddress("my little car")),
    ("ble:Car: the 2nd", BleAddress("Car: the 2nd")),
    ("ble:c0:12:ab:cd:ef:09", BleAddress("C0:12:AB:CD:EF:09")),
    (
        "ble:1b4e28ba-2fa1-11d2-883f-0016d3cca427",
        BleAddress("1B4E28BA-2FA1-11D2-883F-0016D3CCA427"),
    ),
    (
        "ble:CAR-1?service=FFE0&notify=ffe1",
        BleAddress(
            "CAR-1",
            "0000ffe0-0000-1000-8000-00805f9b34fb",
            "0000ffe1-0000-1000-8000-00805f9b34fb",
        ),
    ),
    (
        "ble:CAR-1?Notify=6E400004-B5A3-F393-E0A9-E50E24DCCA9E",
        BleAddress("CAR-1", notify="6e400004-b5a3-f393-e0a9-e50e24dcca9e"),
    ),
    (
        "ble:CAR-1?service=12345678",
        BleAddress("CAR-1", "12345678-0000-1000-8000-00805f9b34fb"),
    ),
    ("tcp://192.168.4.1:5000", TcpAddress("192.168.4.1", 5000)),
    ("tcp:192.168.4.1:5000", TcpAddress("192.168.4.1", 5000)),
    ("tcp://receiver.local:5000", TcpAddress("receiver.local", 5000)),
    ("tcp://:5000", TcpAddress("127.0.0.1", 5000)),
    ("tcp://[::1]:5000", TcpAddress("::1", 5000)),
    ("tcp://[fe80::1%eth0]:5000", TcpAddress("fe80::1%eth0", 5000)),
    ("udp://:5600", UdpAddress("127.0.0.1", 5600)),
    ("udp://0.0.0.0:5600", UdpAddress("0.0.0.0", 5600)),
    ("udp://[::]:65535", UdpAddress("::", 65535)),
    ("simulated:crash", SimulatedAddress("crash")),
    ("simulated:crash?seed=7", SimulatedAddress("crash", 7)),
    ("simulated:crash?seed=0", SimulatedAddress("crash", 0)),
]

REFUSED: list[tuple[str, str, str]] = [
    ("", "No source is named", "serial:/dev/ttyUSB0, "),
    ("   ", "No source is named", "serial:/dev/ttyUSB0, "),
    ("ttyUSB0", "'ttyUSB0' names no source", "serial:/dev/ttyUSB0, "),
    ("C:\\run.log", "'C:\\run.log' names no source", "serial:/dev/ttyUSB0, "),
    ("sreial:/dev/ttyUSB0", "'sreial' is no kind of source", "The nearest is serial, for example"),
    ("tpc://host:1", "'tpc' is no kind of source", "The nearest is tcp, for example tcp://"),
    ("simulate:crash", "'simulate' is no kind of source", "The nearest is simulated"),
    ("serial", "'serial' is no kind of source", "for example serial:/dev/ttyUSB0"),
    ("serial:", "The serial port is not named", "serial:/dev/ttyUSB0"),
    ("serial:/dev/x?speed=9600", "A serial source has no option 'speed'", "baud"),
    ("serial:/dev/x?baud=fast", "baud is a whole number, not 'fast'", "baud=115200"),
    ("serial:/dev/x?baud=0", "baud is a whole number, not '0'", "baud=115200"),
    ("serial:/dev/x?baud=-1", "baud is a whole number, not '-1'", "baud=115200"),
    ("serial:/dev/x?baud=" + "9" * 5000, "baud is a whole number", "baud=115200"),
    ("serial:/dev/x?baud=9600&baud=1", "baud is a whole number, not '9600&baud=1'", "baud="),
    ("ble:", "The car is not named", "ble:CAR-1"),
    ("ble: //", "The car is not named", "ble:CAR-1"),
    ("ble:CAR-1?name=x", "A ble source has no option 'name'", "?service=FFE0&notify=FFE1"),
    ("ble:CAR-1?&", "A ble source has no option ''", "?service=FFE0&notify=FFE1"),
    ("ble:CAR-1?service=", "service is a UUID, not ''", "?service=FFE0&notify=FFE1"),
    ("ble:CAR-1?notify=FFE", "notify is a UUID, not 'FFE'", "?service=FFE0&notify=FFE1"),
    ("ble:CAR-1?notify=FFE1&notify=FFE1", "notify is given twice", "?service=FFE0&notify=FFE1"),
    ("serial:/dev/\x1b[2J", "The name of the source has unprintable characters in it", "serial:"),
    ("serial:/dev/\x00", "The name of the source has unprintable characters in it", "serial:"),
    ("tcp://localhost", "'localhost' has no port", "tcp://192.168.4.1:5000"),
    ("tcp://host:", "A port is a number from 1 to 65535, not ''", "tcp://"),
    ("tcp://host:0", "A port is a number from 1 to 65535, not '0'", "tcp://"),
    ("tcp://host:65536", "A port is a number from 1 to 65535, not '65536'", "tcp://"),
    ("tcp://host:\u0665", "A port is a number from 1 to 65535", "tcp://"),
    ("tcp://host:5000/path", "A port is a number from 1 to 65535, not '5000/path'", "tcp://"),
    ("tcp://a b:5000", "'a b' is no name of a host", "tcp://"),
    ("tcp://a..b:5000", "'a..b' is no name of a host", "tcp://"),
    ("tcp://me@host:5000", "'me@host' is no name of a host", "tcp://"),
    ("tcp://::1:5000", "An IPv6 address stands in brackets", "Write tcp://[::1]:5000"),
    ("tcp://[::g]:5000", "'::g' is no IPv6 address", "tcp://"),
    ("tcp://[::1]", "'[::1]' has no port", "tcp://"),
    ("tcp://host:1?baud=1", "A tcp source has no options", "tcp://"),
    ("udp://5600", "'5600' has no port", "udp://:5600"),
    ("simulated:", "The scenario is not named", "simulated:"),
    ("simulated:a/b", "'a/b' is no scenario", "simulated:"),
    ("simulated:crash?seed=-1", "seed is a whole number, not '-1'", "seed=1"),
]


@pytest.mark.parametrize(("text", "address"), UNDERSTOOD)
def test_understood(text: str, address: Address) -> None:
    assert parse_address(text) == address


@pytest.mark.parametrize(("text", "address"), UNDERSTOOD)
def test_written_back_and_read_again_it_is_the_same(text: str, address: Address) -> None:
    assert parse_address(str(address)) == address


@pytest.mark.parametrize(("text", "message", "hint"), REFUSED)
def test_refused_with_one_sentence_and_an_example(text: str, message: str, hint: str) -> None:
    with pytest.raises(UnknownSourceError) as refusal:
        parse_address(text)
    assert refusal.value.message.startswith(message)
    assert hint in refusal.value.hint
    assert str(refusal.value).isprintable()
    assert len(refusal.value.message) < 120


@pytest.mark.parametrize(("text", "message", "hint"), REFUSED)
def test_the_example_in_each_hint_is_understood(text: str, message: str, hint: str) -> None:
    with pytest.raises(UnknownSourceError) as refusal:
        parse_address(text)
    examples = [word.rstrip(",") for word in refusal.value.hint.split() if ":" in word]
    for example_text in examples:
        parse_address(example_text)


def test_the_address_outdoes_the_option() -> None:
    assert parse_address("/dev/x", baud=57600) == SerialAddress("/dev/x", 57600)
    assert parse_address("/dev/x?baud=9600", baud=57600) == SerialAddress("/dev/x", 9600)


schemes = st.sampled_from(["serial", "ble", "tcp", "udp", "simulated", "COM3", "/dev/x"])
marks = st.sampled_from([":", "//", "/", "?", "=", "&", "[", "]", "%", "@", ".", "\\", " "])
odd_ends = st.sampled_from(
    ["baud=", "seed=", "service=", "FFE0", "::1", "5000", "99999", "host", "\x00", "\ud800", "é"]
)
pieces = st.one_of(schemes, marks, odd_ends)


@given(st.one_of(st.text(), st.lists(pieces, max_size=8).map("".join)))
@example("serial:////x")
@example("ble:/ /x")
@example("tcp://[::1%]:1")
@example("tcp://" + "a" * 70 + ":1")
def test_any_text_is_understood_for_good_or_refused(text: str) -> None:
    try:
        address = parse_address(text)
    except UnknownSourceError as error:
        refusal = error
    else:
        assert parse_address(str(address)) == address
        return
    assert refusal.message
    assert refusal.hint
    assert str(refusal).isprintable()
