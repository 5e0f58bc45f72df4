"""What can go wrong with Bluetooth LE, each in one plain sentence with what to do.

Rule: failures are told apart by class, by the reason that the class carries, or by where they
happened; their texts differ from system to system and are at most quoted.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING

from groundstation.errors import SourceError
from groundstation.sources.address import BleAddress
from groundstation.sources.ble_names import is_address, is_hardware_address
from groundstation.wording import printable

if TYPE_CHECKING:
    from bleak.exc import BleakBluetoothNotAvailableError, BleakDBusError

_NEARER = "Bring it nearer, and see whether it is switched on"
_START_SERVICE = "Start it: sudo systemctl start bluetooth"
_OFF_AND_ON = "Switch Bluetooth off and on again"

_NO_SERVICE = {
    "org.freedesktop.DBus.Error.ServiceUnknown",
    "org.freedesktop.DBus.Error.NameHasNoOwner",
    "org.freedesktop.DBus.Error.NoReply",
    "org.freedesktop.DBus.Error.Disconnected",
}
"""D-Bus errors that say that nobody is there who could answer; the names are those of
dbus-protocol.h in the reference implementation."""

_DENIED = {"org.freedesktop.DBus.Error.AccessDenied", "org.bluez.Error.NotAuthorized"}
_SWITCHED_OFF = {"org.bluez.Error.NotReady"}

_OF_THE_COMPUTER = FileNotFoundError | ConnectionRefusedError | EOFError
"""What has nothing to do with the car, whenever it is raised."""

_PAIRING_CODES = {0x05, 0x08, 0x0C, 0x0F}
"""ATT errors that ask for authentication, authorisation or encryption (Bluetooth Core
Specification, Vol 3, Part F, 3.4.1.1)."""

_MAX_QUOTED_CHARACTERS = 80


def failures() -> tuple[type[Exception], ...]:
    """Return all that Bluetooth may raise at a bad moment; a timeout is an OSError."""
    from bleak.exc import BleakError

    return BleakError, OSError, EOFError


def bluetooth_trouble(error: Exception) -> SourceError:
    """Return why the Bluetooth of this computer does not work."""
    from bleak.exc import BleakBluetoothNotAvailableError, BleakDBusError

    if isinstance(error, BleakBluetoothNotAvailableError):
        return _not_available(error)
    if isinstance(error, FileNotFoundError | ConnectionRefusedError):
        return SourceError(
            "The Bluetooth service cannot be reached: the system D-Bus does not run",
            "Start both: sudo systemctl start dbus bluetooth",
        )
    if isinstance(error, BleakDBusError):
        return _service_trouble(error)
    if isinstance(error, PermissionError):
        return _denied()
    if isinstance(error, EOFError):
        return SourceError("The Bluetooth service broke off", _START_SERVICE)
    if isinstance(error, TimeoutError):
        return SourceError("The Bluetooth of this computer does not answer", _OFF_AND_ON)
    return SourceError(f"Bluetooth does not work: {_reason(error)}", _OFF_AND_ON)


def not_heard(address: BleAddress) -> SourceError:
    """Return that the car was not heard in a whole scan."""
    hint = (
        "Switch it on and bring it nearer; while another program is connected to it, it is not "
        "heard; `groundstation sources` lists what is"
    )
    if sys.platform == "darwin" and is_hardware_address(address.device):
        hint = "macOS tells no such addresses; `groundstation sources` lists what it calls the car"
    sort = "at" if is_address(address.device) else "named"
    return SourceError(f"No car {sort} {address.device} is heard", hint)


def connect_trouble(error: Exception, car: str) -> SourceError:
    """Return why `car`, which was heard, cannot be connected to."""
    from bleak.exc import (
        BleakBluetoothNotAvailableError,
        BleakDBusError,
        BleakDeviceNotFoundError,
    )

    is_gone = isinstance(error, BleakDBusError) and error.dbus_error in _NO_SERVICE
    if is_gone or isinstance(error, _OF_THE_COMPUTER | BleakBluetoothNotAvailableError):
        return bluetooth_trouble(error)
    if isinstance(error, TimeoutError):
        return SourceError(f"{car} was heard but does not answer", _NEARER)
    if isinstance(error, BleakDeviceNotFoundError):
        return SourceError(f"{car} was heard a moment ago and now is not", _NEARER)
    if isinstance(error, ConnectionAbortedError):
        return SourceError(f"{car} hung up while it was being connected to", _NEARER)
    return SourceError(f"{car} cannot be connected to: {_reason(error)}", _NEARER)


def subscribe_trouble(error: Exception, car: str) -> SourceError:
    """Return why `car`, which is connected, does not send."""
    from bleak.exc import BleakGATTProtocolError

    if isinstance(error, BleakGATTProtocolError) and error.code in _PAIRING_CODES:
        return SourceError(
            f"{car} sends only to computers that it is paired with",
            "Pair it in the Bluetooth settings of this computer, or switch that off in the car",
        )
    if isinstance(error, TimeoutError):
        return SourceError(f"{car} is connected but does not answer", "Switch the car off and on")
    return SourceError(
        f"{car} cannot be asked to send: {_reason(error)}", "Switch the car off and on"
    )


def wrong_service(
    address: BleAddress, missing: str, offered: Iterable[tuple[str, str]]
) -> SourceError:
    """Return that the car does not send what it is asked for.

    Args:
        address: How the user called it.
        missing: What it does not have: "service UUID" or the like.
        offered: Service and characteristic of each that does notify.
    """
    pairs = list(offered)
    service, notify = pairs[0] if pairs else ("UUID", "UUID")
    example = f"ble:{address.device}?service={service}&notify={notify}"
    hint = f"Give what it has: {example}" if pairs else f"Look into its firmware and give {example}"
    return SourceError(f"{address.device} has no {missing}", hint)


def hung_up(car: str) -> SourceError:
    """Return that a connection that stood is lost."""
    return SourceError(f"{car} is gone: out of range, or switched off", _NEARER)


def fell_silent(car: str, silence_s: float) -> SourceError:
    """Return that nothing comes any more although the system says that all is well."""
    return SourceError(
        f"{car} has sent nothing for {silence_s:g} s, although Bluetooth calls it connected",
        "It is being connected again; if that does not help, switch the car off and on",
    )


def never_sent(car: str, silence_s: float) -> SourceError:
    """Return that nothing came at all on a connection that stands."""
    return SourceError(
        f"{car} is connected but has sent nothing in {silence_s:g} s",
        "See whether its firmware sends, and whether by this characteristic",
    )


def _not_available(error: BleakBluetoothNotAvailableError) -> SourceError:
    from bleak.exc import BleakBluetoothNotAvailableReason as Reason

    match error.reason:
        case Reason.NO_BLUETOOTH:
            return SourceError(
                "This computer has no Bluetooth adapter",
                "Plug one in, or switch on the one that is built in",
            )
        case Reason.NO_BLE_CENTRAL_ROLE:
            return SourceError(
                "The Bluetooth adapter of this computer knows no Bluetooth LE", "Plug in another"
            )
        case Reason.POWERED_OFF:
            return _switched_off()
        case Reason.DENIED_BY_USER | Reason.DENIED_BY_SYSTEM | Reason.DENIED_BY_UNKNOWN:
            return SourceError("This program may not use Bluetooth", _permit())
        case _:
            return SourceError(f"Bluetooth is not available: {_reason(error)}", _OFF_AND_ON)


def _service_trouble(error: BleakDBusError) -> SourceError:
    if error.dbus_error in _NO_SERVICE:
        return SourceError("The Bluetooth service does not run", _START_SERVICE)
    if error.dbus_error in _DENIED:
        return _denied()
    if error.dbus_error in _SWITCHED_OFF:
        return _switched_off()
    return SourceError(f"The Bluetooth service refuses: {_reason(error)}", _OFF_AND_ON)


def _denied() -> SourceError:
    return SourceError(
        "This user may not use Bluetooth",
        "Join the group that may, as your system calls it, and log in again",
    )


def _switched_off() -> SourceError:
    return SourceError("Bluetooth is switched off", _switch_on())


def _switch_on() -> str:
    if sys.platform == "linux":
        return "Switch it on: rfkill unblock bluetooth, then bluetoothctl power on"
    return "Switch it on in the settings of this computer"


def _permit() -> str:
    if sys.platform == "darwin":
        return "Allow it for this terminal: System Settings, Privacy & Security, Bluetooth"
    return "Allow it in the settings of this computer"


def _reason(error: Exception) -> str:
    """Return the system's words for `error`, for a line of their own."""
    from bleak.exc import BleakDBusError, BleakGATTProtocolError

    if isinstance(error, BleakGATTProtocolError):
        text = str(error.args[-1])
    elif isinstance(error, BleakDBusError):
        text = error.dbus_error_details or error.dbus_error
    elif isinstance(error, OSError) and error.errno is not None:
        text = os.strerror(error.errno)
    else:
        text = str(error)
    text = text or type(error).__name__
    text = printable(" ".join(text.split())).rstrip(".")
    if len(text) > _MAX_QUOTED_CHARACTERS:
        text = text[: _MAX_QUOTED_CHARACTERS - 3] + "..."
    return text
