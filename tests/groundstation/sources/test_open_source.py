from __future__ import annotations

import subprocess
import sys

import pytest

from groundstation.errors import UnknownSourceError
from groundstation.sources import address, base
from groundstation.sources.base import Source, open_source
from groundstation.sources.ble import BleSource
from groundstation.sources.ble_names import long_uuid
from groundstation.sources.network import TcpSource, UdpSource
from groundstation.sources.serial_port import SerialSource
from groundstation.sources.simulated import SimulatedSource
from tests.groundstation.sources.links import SteppingClock


@pytest.mark.parametrize(
    ("text", "kind", "name"),
    [
        ("/dev/ttyUSB0", SerialSource, "serial:/dev/ttyUSB0?baud=57600"),
        ("COM3?baud=115200", SerialSource, "serial:COM3"),
        ("ble:CAR-1", BleSource, "ble:CAR-1"),
        ("ble:CAR-1?notify=FFE1", BleSource, f"ble:CAR-1?notify={long_uuid('FFE1')}"),
        ("tcp://:5000", TcpSource, "tcp://127.0.0.1:5000"),
        ("udp://[::1]:5600", UdpSource, "udp://[::1]:5600"),
        ("simulated:demo?seed=4", SimulatedSource, "simulated:demo?seed=4"),
    ],
)
def test_each_address_opens_its_kind(
    text: str, kind: type[Source], name: str, clock: SteppingClock
) -> None:
    source = open_source(text, clock=clock, baud=57600)
    assert type(source) is kind
    assert source.name == name


def test_an_address_nobody_understands_is_refused(clock: SteppingClock) -> None:
    with pytest.raises(UnknownSourceError):
        open_source("sreial:/dev/ttyUSB0", clock=clock)
    with pytest.raises(UnknownSourceError):
        open_source("simulated:nowhere", clock=clock)


def test_every_scheme_has_a_back_end_and_an_example() -> None:
    assert set(base._BACK_ENDS) == set(address._PARSERS) == set(address._EXAMPLES)


def test_the_libraries_of_other_ports_are_not_loaded() -> None:
    program = """
import sys
from groundstation.clock import MonotonicClock
from groundstation.sources.base import open_source
assert not {"serial", "bleak", "numpy", "groundstation.sources.network"} & set(sys.modules)
open_source("tcp://:5000", clock=MonotonicClock())
assert not {"serial", "bleak", "numpy", "groundstation.simulator"} & set(sys.modules)
open_source("ble:CAR-1", clock=MonotonicClock())
import groundstation.sources.ble_listing
assert not {"serial", "bleak", "numpy"} & set(sys.modules)
open_source("simulated:demo", clock=MonotonicClock())
assert "numpy" not in sys.modules
"""
    subprocess.run([sys.executable, "-c", program], check=True)
