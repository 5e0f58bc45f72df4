"""`groundstation sources`: what can be opened now."""

from __future__ import annotations

import argparse
import asyncio
import json

from groundstation.cli.options import duration
from groundstation.clock import MonotonicClock

SUMMARY = "list what can be watched now: serial ports and Bluetooth LE"
EXAMPLES = (
    ("groundstation sources", "serial ports, and what advertises over Bluetooth LE"),
    ("groundstation sources --look 10", "listen longer"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add this command's arguments."""
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument(
        "--look",
        type=duration,
        default=4.0,
        metavar="SECONDS",
        help="how long to listen for Bluetooth LE (default 4)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Run the command; return the exit code."""
    from dataclasses import asdict

    from groundstation.cli.marks import GOOD, LOOK, NONE, marked
    from groundstation.cli.picking import describe_port
    from groundstation.sources.ble_listing import list_ble
    from groundstation.sources.listing import list_serial_ports
    from groundstation.wording import printable

    ports, ble = list_serial_ports(), asyncio.run(list_ble(arguments.look, clock=MonotonicClock()))
    if arguments.json:
        found = {"serial": [asdict(p) for p in ports], "ble": [asdict(p) for p in ble.peripherals]}
        print(json.dumps(found | {"ble_trouble": ble.trouble or None}, allow_nan=False))
        return 0
    for port in ports:
        print(marked(GOOD, f"serial:{port.device:<28} ", describe_port(port)))
    if not ports:
        print(marked(LOOK, "", "no serial port is there; is the adapter plugged in?"))
    for each in ble.peripherals:
        sign, uart = (GOOD, "") if each.has_uart_service else (NONE, ", no UART-like service")
        level = "strength unknown" if each.rssi_dbm is None else f"{each.rssi_dbm:.0f} dBm"
        said = f"{printable(each.name or 'no name')}, {level}{uart}"
        print(marked(sign, f"ble:{each.address:<31} ", said))
    if not ble.peripherals:
        print(marked(LOOK, "", ble.trouble or "nothing advertises over Bluetooth LE"))
    return 0
