"""The example firmware over the radio that is none: built, run, and its notifications read."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.emulated_car import C_FOLDER
from tests.protocol.c_program import SANITISED, compile_c

SOURCES = ("example_car.c", "invented_sensors.c", "example_ble.c", "board_stub_radio.c")


@dataclass(frozen=True)
class Radio:
    """What the radio takes; the usual one has room for all that the example sends."""

    att_mtu: int
    notifications: int = 8
    interval_ms: int = 15
    breaks_ms: int = 0


def build(folder: Path) -> Path:
    """Return the example with its radio, built for this machine with the sanitisers."""
    sources = [C_FOLDER / name for name in SOURCES]
    return compile_c(
        "gcc", sources, "-std=c99", *SANITISED, include=C_FOLDER, output=folder / "ble_car"
    )


def drive(program: Path, radio: Radio, milliseconds: int) -> list[list[bytes]]:
    """Return the notifications of each link."""
    capture = program.parent / "notifications.bin"
    options = (radio.att_mtu, radio.notifications, radio.interval_ms, radio.breaks_ms)
    subprocess.run([program, capture, str(milliseconds), *map(str, options)], check=True)
    data, links, at = capture.read_bytes(), list[list[bytes]](), 0
    while at < len(data):
        size = int.from_bytes(data[at : at + 2], "little")
        if size == 0:
            links.append([])
        else:
            links[-1].append(data[at + 2 : at + 2 + size])
            assert len(links[-1][-1]) == size
        at += 2 + size
    return links
