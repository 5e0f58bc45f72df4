"""What the user writes to name a source, understood.

Owns the forms of an address: `serial:/dev/ttyUSB0?baud=57600` or the bare name of a port,
`ble:NAME?service=UUID&notify=UUID`, `tcp://HOST:PORT`, `udp://[HOST]:PORT`,
`simulated:SCENARIO?seed=N`. Rules: an address that is understood can be written back by `str()` and
read again to the same; one that is not raises `UnknownSourceError` and nothing else, with an
example; and where no host is written, it is this computer alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from ipaddress import IPv6Address
from typing import ClassVar

from groundstation.errors import UnknownSourceError
from groundstation.sources.ble_names import UART_NOTIFY, UART_SERVICE, is_address, long_uuid

DEFAULT_BAUD = 115200
DEFAULT_SEED = 1
LOOPBACK = "127.0.0.1"

_EXAMPLES = {
    "serial": "serial:/dev/ttyUSB0",
    "ble": "ble:CAR-1",
    "tcp": "tcp://192.168.4.1:5000",
    "udp": "udp://:5600",
    "simulated": "simulated:demo",
}
"""One address of each scheme, for hints."""

_BARE_PORT = re.compile(r"\.{0,2}/.+|(\\\\\.\\)?COM\d+(\?.*)?", re.IGNORECASE)
_BRACKETED = re.compile(r"\[(?P<host>[^\[\]]*)\](:(?P<port>.*))?")
_FORBIDDEN_IN_HOST = re.compile(r"[\s:/\\#@\[\]%]")
_LARGEST_PORT = 65535
_LARGEST_NUMBER = 2**31 - 1
_MAX_QUOTED_CHARACTERS = 60


@dataclass(frozen=True, slots=True)
class SerialAddress:
    """A serial port."""

    device: str
    """A path or, under Windows, a COM name."""
    baud: int = DEFAULT_BAUD

    scheme: ClassVar[str] = "serial"

    def __str__(self) -> str:
        options = "" if self.baud == DEFAULT_BAUD else f"?baud={self.baud}"
        return f"serial:{self.device}{options}"


@dataclass(frozen=True, slots=True)
class BleAddress:
    """A car to be heard over Bluetooth LE."""

    device: str
    """The name that it advertises; or its address, in capitals (under macOS a UUID)."""
    service: str = UART_SERVICE
    """UUID of the service that sends the bytes, in its long form."""
    notify: str = UART_NOTIFY
    """UUID of the characteristic in it that notifies of them, in its long form."""

    scheme: ClassVar[str] = "ble"

    def __str__(self) -> str:
        options = [
            f"{key}={value}"
            for key, value, default in (
                ("service", self.service, UART_SERVICE),
                ("notify", self.notify, UART_NOTIFY),
            )
            if value != default
        ]
        return f"ble:{self.device}{'?' * bool(options)}{'&'.join(options)}"


@dataclass(frozen=True, slots=True)
class TcpAddress:
    """A server to connect to."""

    host: str
    port: int

    scheme: ClassVar[str] = "tcp"

    def __str__(self) -> str:
        return f"tcp://{endpoint(self.host, self.port)}"


@dataclass(frozen=True, slots=True)
class UdpAddress:
    """A port of this computer to listen at."""

    host: str
    """Which of this computer's own addresses; 0.0.0.0 and :: are all of them."""
    port: int

    scheme: ClassVar[str] = "udp"

    def __str__(self) -> str:
        return f"udp://{endpoint(self.host, self.port)}"


@dataclass(frozen=True, slots=True)
class SimulatedAddress:
    """A car that does not exist."""

    scenario: str
    seed: int = DEFAULT_SEED

    scheme: ClassVar[str] = "simulated"

    def __str__(self) -> str:
        options = "" if self.seed == DEFAULT_SEED else f"?seed={self.seed}"
        return f"simulated:{self.scenario}{options}"


Address = SerialAddress | BleAddress | TcpAddress | UdpAddress | SimulatedAddress


def endpoint(host: str, port: int) -> str:
    """Return host and port as one writes them, an IPv6 address in brackets."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def parse_address(text: str, *, baud: int = DEFAULT_BAUD) -> Address:
    """Return what `text` names.

    Args:
        text: As the user wrote it.
        baud: Speed of a serial port whose address does not say.

    Raises:
        UnknownSourceError: It names nothing, or not completely.
    """
    text = text.strip()
    if not text.isprintable():
        raise UnknownSourceError("The name of the source has unprintable characters in it", _hint())
    scheme, colon, rest = text.partition(":")
    scheme = scheme.strip().lower()
    if _BARE_PORT.fullmatch(text):
        scheme, colon, rest = "serial", ":", text
    if not colon or scheme not in _PARSERS:
        raise _unknown(text, scheme)
    target, _, options = rest.removeprefix("//").partition("?")
    return _PARSERS[scheme](target.strip(), options, baud)


def _serial(target: str, options: str, baud: int) -> SerialAddress:
    device = re.sub(r"^//+", "/", target)
    if not device:
        raise UnknownSourceError("The serial port is not named", _hint("serial"))
    return SerialAddress(device, _number("serial", options, "baud", baud))


def _ble(target: str, options: str, baud: int) -> BleAddress:
    device = re.sub(r"^[/\s]+", "", target)
    if not device:
        raise UnknownSourceError("The car is not named", _hint("ble"))
    uuids = _uuids(options)
    return BleAddress(
        device.upper() if is_address(device) else device,
        uuids.get("service", UART_SERVICE),
        uuids.get("notify", UART_NOTIFY),
    )


def _tcp(target: str, options: str, baud: int) -> TcpAddress:
    return TcpAddress(*_host_and_port("tcp", target, options))


def _udp(target: str, options: str, baud: int) -> UdpAddress:
    return UdpAddress(*_host_and_port("udp", target, options))


def _simulated(target: str, options: str, baud: int) -> SimulatedAddress:
    if not target:
        raise UnknownSourceError("The scenario is not named", _hint("simulated"))
    if not re.fullmatch(r"\w[\w-]*", target):
        raise UnknownSourceError(f"{_quoted(target)} is no scenario", _hint("simulated"))
    return SimulatedAddress(target, _number("simulated", options, "seed", DEFAULT_SEED))


_PARSERS: dict[str, Callable[[str, str, int], Address]] = {
    "serial": _serial,
    "ble": _ble,
    "tcp": _tcp,
    "udp": _udp,
    "simulated": _simulated,
}


def _number(scheme: str, options: str, name: str, default: int) -> int:
    """Return the whole number of the only option that `scheme` has."""
    if not options:
        return default
    key, _, value = options.partition("=")
    if key.strip().lower() != name:
        raise UnknownSourceError(
            f"A {scheme} source has no option {_quoted(key)}",
            f"The option it has is {name}, for example {_EXAMPLES[scheme]}?{name}={default}",
        )
    number = _whole_number(value.strip())
    if number is None or (name == "baud" and number == 0):
        raise UnknownSourceError(
            f"{name} is a whole number, not {_quoted(value)}",
            f"Write for example {_EXAMPLES[scheme]}?{name}={default}",
        )
    return number


def _uuids(options: str) -> dict[str, str]:
    """Return the UUIDs that the options of a `ble` source give, by the name of the option."""
    uuids: dict[str, str] = {}
    example = f"Write for example {_EXAMPLES['ble']}?service=FFE0&notify=FFE1"
    for option in options.split("&") if options else []:
        key, _, value = (part.strip() for part in option.partition("="))
        key = key.lower()
        if key not in ("service", "notify"):
            raise UnknownSourceError(f"A ble source has no option {_quoted(key)}", example)
        uuid = long_uuid(value)
        if uuid is None:
            raise UnknownSourceError(f"{key} is a UUID, not {_quoted(value)}", example)
        if key in uuids:
            raise UnknownSourceError(f"{key} is given twice", example)
        uuids[key] = uuid
    return uuids


def _host_and_port(scheme: str, target: str, options: str) -> tuple[str, int]:
    if options:
        raise UnknownSourceError(f"A {scheme} source has no options", _hint(scheme))
    if bracketed := _BRACKETED.fullmatch(target):
        host, port_text = bracketed["host"], bracketed["port"]
        if not _is_ipv6(host):
            raise UnknownSourceError(f"{_quoted(host)} is no IPv6 address", _hint(scheme))
    else:
        host, colon, after = target.rpartition(":")
        port_text = after if colon else None
        if _is_ipv6(host):
            raise UnknownSourceError(
                "An IPv6 address stands in brackets", f"Write {scheme}://[{host}]:{after}"
            )
        if host and not _is_host_name(host):
            raise UnknownSourceError(f"{_quoted(host)} is no name of a host", _hint(scheme))
    if port_text is None:
        raise UnknownSourceError(f"{_quoted(target)} has no port", _hint(scheme))
    port = _whole_number(port_text)
    if port is None or not 1 <= port <= _LARGEST_PORT:
        raise UnknownSourceError(
            f"A port is a number from 1 to {_LARGEST_PORT}, not {_quoted(port_text)}",
            _hint(scheme),
        )
    return host or LOOPBACK, port


def _whole_number(text: str) -> int | None:
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(_LARGEST_NUMBER))):
        return None
    number = int(text)
    return number if number <= _LARGEST_NUMBER else None


def _is_ipv6(host: str) -> bool:
    try:
        IPv6Address(host)
    except ValueError:
        return False
    return True


def _is_host_name(host: str) -> bool:
    if _FORBIDDEN_IN_HOST.search(host):
        return False
    try:
        host.encode("idna")  # as every look-up does; it refuses labels no name can have
    except UnicodeError:
        return False
    return True


def _unknown(text: str, scheme: str) -> UnknownSourceError:
    if not text:
        return UnknownSourceError("No source is named", _hint())
    nearest = get_close_matches(scheme, _PARSERS, n=1)
    if nearest:
        return UnknownSourceError(
            f"{_quoted(scheme)} is no kind of source",
            f"The nearest is {nearest[0]}, for example {_EXAMPLES[nearest[0]]}",
        )
    return UnknownSourceError(f"{_quoted(text)} names no source", _hint())


def _hint(scheme: str = "") -> str:
    examples = [_EXAMPLES[scheme]] if scheme else list(_EXAMPLES.values())
    return (
        f"Write for example {', '.join(examples[:-1])}{' or ' * (len(examples) > 1)}{examples[-1]}"
    )


def _quoted(text: str) -> str:
    if len(text) > _MAX_QUOTED_CHARACTERS:
        text = text[: _MAX_QUOTED_CHARACTERS - 3] + "..."
    return f"'{text}'"
