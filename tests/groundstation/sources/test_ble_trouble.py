from __future__ import annotations

import errno
import sys

import pytest
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakDeviceNotFoundError,
    BleakError,
    BleakGATTProtocolError,
)

from groundstation.errors import SourceError
from groundstation.sources.address import BleAddress
from groundstation.sources.ble_trouble import (
    bluetooth_trouble,
    connect_trouble,
    failures,
    fell_silent,
    hung_up,
    never_sent,
    not_heard,
    subscribe_trouble,
    wrong_service,
)

CAR = "CAR-1"
REASON = BleakBluetoothNotAvailableReason


def not_available(reason: REASON) -> BleakBluetoothNotAvailableError:
    return BleakBluetoothNotAvailableError("some text of the library", reason)


def dbus_error(name: str, text: str = "some text of the system") -> BleakDBusError:
    return BleakDBusError(name, [text])


OF_THE_COMPUTER: list[tuple[Exception, str]] = [
    (
        FileNotFoundError(errno.ENOENT, "x"),
        "The Bluetooth service cannot be reached: the system D-Bus does not run",
    ),
    (
        ConnectionRefusedError(errno.ECONNREFUSED, "x"),
        "The Bluetooth service cannot be reached: the system D-Bus does not run",
    ),
    (
        dbus_error("org.freedesktop.DBus.Error.ServiceUnknown"),
        "The Bluetooth service does not run",
    ),
    (dbus_error("org.freedesktop.DBus.Error.NoReply"), "The Bluetooth service does not run"),
    (EOFError(), "The Bluetooth service broke off"),
    (not_available(REASON.NO_BLUETOOTH), "This computer has no Bluetooth adapter"),
    (
        not_available(REASON.NO_BLE_CENTRAL_ROLE),
        "The Bluetooth adapter of this computer knows no Bluetooth LE",
    ),
    (not_available(REASON.POWERED_OFF), "Bluetooth is switched off"),
    (not_available(REASON.DENIED_BY_USER), "This program may not use Bluetooth"),
    (not_available(REASON.DENIED_BY_SYSTEM), "This program may not use Bluetooth"),
    (not_available(REASON.DENIED_BY_UNKNOWN), "This program may not use Bluetooth"),
]


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        *OF_THE_COMPUTER,
        (dbus_error("org.bluez.Error.NotReady"), "Bluetooth is switched off"),
        (dbus_error("org.freedesktop.DBus.Error.AccessDenied"), "This user may not use Bluetooth"),
        (PermissionError(errno.EACCES, "x"), "This user may not use Bluetooth"),
        (
            dbus_error("org.bluez.Error.InProgress", "Operation already in progress"),
            "The Bluetooth service refuses: Operation already in progress",
        ),
        (TimeoutError(), "The Bluetooth of this computer does not answer"),
        (OSError(errno.EIO, "x"), "Bluetooth does not work: Input/output error"),
        (BleakError("odd\x1b[2J\n text."), "Bluetooth does not work: odd\ufffd[2J text"),
        (BleakError(), "Bluetooth does not work: BleakError"),
        (BleakError("x" * 500), f"Bluetooth does not work: {'x' * 77}..."),
    ],
)
def test_why_the_bluetooth_of_this_computer_does_not_work(error: Exception, sentence: str) -> None:
    check(bluetooth_trouble(error), sentence)


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        *OF_THE_COMPUTER,
        (TimeoutError(), "CAR-1 was heard but does not answer"),
        (BleakDeviceNotFoundError("x"), "CAR-1 was heard a moment ago and now is not"),
        (ConnectionAbortedError(), "CAR-1 hung up while it was being connected to"),
        (
            dbus_error("org.bluez.Error.Failed", "le-connection-abort-by-local"),
            "CAR-1 cannot be connected to: le-connection-abort-by-local",
        ),
        (BleakError("unforeseen"), "CAR-1 cannot be connected to: unforeseen"),
    ],
)
def test_why_a_car_cannot_be_connected_to(error: Exception, sentence: str) -> None:
    check(connect_trouble(error, CAR), sentence)


@pytest.mark.parametrize(
    ("error", "sentence"),
    [
        (BleakGATTProtocolError(0x05), "CAR-1 sends only to computers that it is paired with"),
        (BleakGATTProtocolError(0x0F), "CAR-1 sends only to computers that it is paired with"),
        (
            BleakGATTProtocolError(0x0E),
            "CAR-1 cannot be asked to send: GATT Protocol Error: Unlikely Error",
        ),
        (TimeoutError(), "CAR-1 is connected but does not answer"),
        (BleakError("unforeseen"), "CAR-1 cannot be asked to send: unforeseen"),
    ],
)
def test_why_a_car_that_is_connected_does_not_send(error: Exception, sentence: str) -> None:
    check(subscribe_trouble(error, CAR), sentence)


@pytest.mark.parametrize(
    ("trouble", "sentence"),
    [
        (not_heard(BleAddress(CAR)), "No car named CAR-1 is heard"),
        (
            not_heard(BleAddress("C0:00:00:00:00:01")),
            "No car at C0:00:00:00:00:01 is heard",
        ),
        (hung_up(CAR), "CAR-1 is gone: out of range, or switched off"),
        (
            fell_silent(CAR, 1.5),
            "CAR-1 has sent nothing for 1.5 s, although Bluetooth calls it connected",
        ),
        (never_sent(CAR, 5.0), "CAR-1 is connected but has sent nothing in 5 s"),
        (wrong_service(BleAddress(CAR), "service X", []), "CAR-1 has no service X"),
    ],
)
def test_what_no_error_tells(trouble: SourceError, sentence: str) -> None:
    check(trouble, sentence)


def test_a_wrong_service_comes_with_the_right_address_where_there_is_one() -> None:
    trouble = wrong_service(BleAddress(CAR), "service X", [("S", "N"), ("T", "M")])
    assert trouble.hint == "Give what it has: ble:CAR-1?service=S&notify=N"
    trouble = wrong_service(BleAddress(CAR), "service X", [])
    assert "ble:CAR-1?service=UUID&notify=UUID" in trouble.hint


def test_under_macos_an_address_that_is_none_there(monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(sys, "platform", "darwin")
        by_address, by_name = not_heard(BleAddress("C0:00:00:00:00:01")), not_heard(BleAddress(CAR))
    assert "macOS tells no such addresses" in by_address.hint
    assert "Switch it on" in by_name.hint


def test_every_class_that_the_library_raises_is_caught() -> None:
    for error in (
        BleakError("x"),
        BleakCharacteristicNotFoundError("x"),
        TimeoutError(),
        EOFError(),
        ConnectionResetError(),
        FileNotFoundError(),
        *(error for error, _ in OF_THE_COMPUTER),
    ):
        assert isinstance(error, failures())


def check(trouble: SourceError, sentence: str) -> None:
    assert trouble.message == sentence
    assert trouble.hint
    assert not trouble.hint.endswith(".")
    assert str(trouble).isprintable()
