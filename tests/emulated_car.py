"""A car to plug in: the example firmware on an emulated microcontroller.

    with emulated_car(tmp_path) as car:
        ...  # open car.port as a serial port

The firmware of `protocol/c` is built with arm-none-eabi-gcc and run by qemu-system-arm in real
time. The port is a pseudo-terminal: it has no baud rate, and loses what is sent while nobody has it
open. QEMU is gone when the block ends.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

C_FOLDER = Path(__file__).parent.parent / "protocol" / "c"
TOOLS = ("arm-none-eabi-gcc", "qemu-system-arm")

STRICT = ("-Wall", "-Wextra", "-Wconversion", "-Wpedantic", "-Wshadow", "-Werror")
"""What the firmware must compile under without a word."""

_BARE_METAL = (
    *("-mcpu=cortex-m3", "-mthumb", "-std=c99", "-O2", "-ffreestanding", "-nostdlib"),
    *("-fno-tree-loop-distribute-patterns", "-T", str(C_FOLDER / "mps2.ld")),
)
_MACHINE = (
    *("-M", "mps2-an385", "-display", "none", "-monitor", "none"),
    *("-serial", "pty", "-qmp", "stdio", "-S"),
)

needs_emulator = pytest.mark.skipif(
    not all(shutil.which(tool) for tool in TOOLS), reason=f"needs {' and '.join(TOOLS)}"
)


class EmulatedCar:
    """A running car, and what can happen to it."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self._read()  # the greeting
        self._ask("qmp_capabilities")
        self.port = self._find_port()
        """Path of the serial port that the frames come from."""

    def start(self) -> None:
        """Switch it on, or let it go on after `freeze`."""
        self._ask("cont")

    def freeze(self) -> None:
        """Hold everything: the port stays open and is silent."""
        self._ask("stop")

    def reboot(self) -> None:
        """Switch it off and on."""
        self._ask("system_reset")

    def _find_port(self) -> str:
        for device in self._ask("query-chardev"):
            if device["filename"].startswith("pty:"):
                return str(device["filename"].removeprefix("pty:"))
        raise AssertionError("QEMU has no pseudo-terminal")

    def _ask(self, command: str) -> Any:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps({"execute": command}) + "\n")
        self._process.stdin.flush()
        while "return" not in (answer := self._read()):
            assert "error" not in answer, answer
        return answer["return"]

    def _read(self) -> dict[str, Any]:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            if line.startswith("{"):  # QEMU says things in words too
                answer: dict[str, Any] = json.loads(line)
                return answer
        raise AssertionError("QEMU has ended")


@contextmanager
def emulated_car(folder: Path, *, switched_on: bool = True) -> Iterator[EmulatedCar]:
    """Yield the example car, running; its firmware is built in `folder`.

    Args:
        folder: An empty folder.
        switched_on: False leaves the first frame unsent until `start`.
    """
    process = subprocess.Popen(
        ["qemu-system-arm", *_MACHINE, "-kernel", str(build_firmware(folder))],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    with process:
        try:
            car = EmulatedCar(process)
            if switched_on:
                car.start()
            yield car
        finally:
            process.kill()


def build_firmware(folder: Path) -> Path:
    """Return the example firmware, built in `folder`."""
    firmware = folder / "car.elf"
    names = ("example_car.c", "invented_sensors.c", "board_mps2.c")
    sources = [str(C_FOLDER / name) for name in names]
    compiler = ["arm-none-eabi-gcc", *STRICT, *_BARE_METAL]
    subprocess.run([*compiler, *sources, "-o", str(firmware)], check=True)
    return firmware
