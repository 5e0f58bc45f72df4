"""The example firmware on an emulated microcontroller, heard through a serial port."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from protocol import FrameEvent, FrameRejected, Receiver, SampleReceived, VehicleRebooted
from tests.emulated_car import EmulatedCar, emulated_car, needs_emulator

pytestmark = needs_emulator


@pytest.fixture
def car(tmp_path: Path) -> Iterator[EmulatedCar]:
    """The car, still switched off."""
    with emulated_car(tmp_path, switched_on=False) as car:
        yield car


@pytest.fixture
def port(car: EmulatedCar) -> Iterator[serial.Serial]:
    with serial.Serial(car.port, 115200, timeout=20, exclusive=True) as port:
        yield port


def hear(port: serial.Serial, receiver: Receiver, count: int) -> list[FrameEvent]:
    """Return the next events, `count` of them or a few more."""
    events: list[FrameEvent] = []
    while len(events) < count:
        data = port.read(1)
        assert data, "the car is silent"
        events += receiver.receive_data(data + port.read(port.in_waiting))
    return events


def test_every_frame_arrives_from_the_first_on(car: EmulatedCar, port: serial.Serial) -> None:
    car.start()
    events = hear(port, Receiver(), 500)
    samples = [event for event in events if isinstance(event, SampleReceived)]
    assert len(samples) == len(events)  # nothing rejected, missed or unknown
    assert [sample.sequence for sample in samples] == list(range(len(samples)))
    assert not any(sample.late for sample in samples)
    counts = Counter(sample.kind.name for sample in samples)
    # 137.5 frames a second, 500 of them: 3.6 s.
    assert set(counts) == {"motion", "fix", "radio", "power", "ident"}
    assert counts["motion"] == pytest.approx(364, abs=3)
    assert counts["radio"] == pytest.approx(91, abs=2)
    assert counts["fix"] == pytest.approx(36, abs=2)
    motion = [sample for sample in samples if sample.kind.name == "motion"]
    assert len({sample.vehicle_s for sample in motion}) == len(motion)
    # The clock is finer than the millisecond in which a frame is sent.
    assert any(round(sample.vehicle_s * 1e6) % 1000 for sample in samples)
    (name,) = {sample.values["vehicle_name"] for sample in samples if sample.kind.name == "ident"}
    assert name == "Example car"
    assert motion[0].values["accel_z_g"] == pytest.approx(1, abs=0.05)


def test_a_reboot_is_told_from_a_loss(car: EmulatedCar, port: serial.Serial) -> None:
    car.start()
    receiver = Receiver()
    # Past the 2 s by which the clock of a late frame may step back.
    hear(port, receiver, 320)
    car.reboot()
    events = hear(port, receiver, 100)
    assert sum(isinstance(event, VehicleRebooted) for event in events) == 1
    # The frame that the reboot cut in two ends at the delimiter which the firmware sends first.
    assert sum(isinstance(event, FrameRejected) for event in events) <= 1
    assert {type(event) for event in events} <= {SampleReceived, VehicleRebooted, FrameRejected}
