"""The example firmware over Bluetooth LE: whatever the cut, what arrives is what was sent."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from protocol import FrameEvent, FramesMissed, Receiver, SampleReceived
from tests.emulated_car import C_FOLDER
from tests.protocol.ble_example import Radio, build, drive
from tests.protocol.c_program import compile_c
from tests.protocol.test_c import drive_on_host

pytestmark = pytest.mark.skipif(shutil.which("gcc") is None, reason="needs gcc")

DRIVE_MS = 20_000
FRAMES = 2750
"""What the example makes in that time."""


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("ble_example"))


def decode(links: list[list[bytes]]) -> list[FrameEvent]:
    receiver, events = Receiver(), list[FrameEvent]()
    for notifications in links:
        receiver.link_restarted()
        for notification in notifications:
            events += receiver.receive_data(notification)
    return events


@pytest.mark.parametrize(
    ("att_mtu", "largest"), [(23, 20), (24, 21), (100, 97), (247, 244), (517, 244), (0, 20)]
)
def test_every_frame_arrives_at_any_mtu(
    program: Path, tmp_path: Path, att_mtu: int, largest: int
) -> None:
    (notifications,) = drive(program, Radio(att_mtu), DRIVE_MS)
    events = decode([notifications])
    samples = [event for event in events if isinstance(event, SampleReceived)]
    assert samples == events
    assert [sample.sequence for sample in samples] == list(range(FRAMES))
    # The very stream that the serial example sends.
    assert b"".join(notifications) == drive_on_host(tmp_path, DRIVE_MS)
    sizes = {len(notification) for notification in notifications}
    assert max(sizes) == largest if largest < 51 else max(sizes) <= largest


def test_a_notification_may_end_in_the_middle_of_a_frame(program: Path) -> None:
    (notifications,) = drive(program, Radio(23), DRIVE_MS)
    cut = [notification for notification in notifications if not notification.endswith(b"\0")]
    assert len(cut) >= FRAMES - 40  # a power frame fits into 20 bytes


def test_nothing_waits_for_a_notification_to_fill(program: Path) -> None:
    (notifications,) = drive(program, Radio(247), DRIVE_MS)
    # No two frames are made in one millisecond: each goes alone, but the first, which the
    # delimiter precedes.
    assert len(notifications) == FRAMES
    assert all(notification.endswith(b"\0") for notification in notifications)


def test_a_radio_that_is_busy_gets_fuller_notifications(program: Path) -> None:
    (notifications,) = drive(program, Radio(247, notifications=1, interval_ms=45), DRIVE_MS)
    samples = decode([notifications])
    assert all(isinstance(event, SampleReceived) for event in samples)
    assert len(samples) >= FRAMES - 10  # but for what still waits at the end
    assert max(map(len, notifications)) > 5 * 33
    assert len(notifications) <= DRIVE_MS / 45 + 1


@pytest.mark.parametrize("att_mtu", [23, 247])
def test_what_a_full_queue_leaves_out_is_whole_frames_and_is_told(
    program: Path, att_mtu: int
) -> None:
    # 20 bytes in 15 ms are a third of what the example makes, 244 in 90 ms two thirds.
    interval_ms = 15 if att_mtu == 23 else 90
    radio = Radio(att_mtu, notifications=1, interval_ms=interval_ms)
    (notifications,) = drive(program, radio, DRIVE_MS)
    events = decode([notifications])
    samples = [event for event in events if isinstance(event, SampleReceived)]
    missed = sum(event.count for event in events if isinstance(event, FramesMissed))
    assert {type(event) for event in events} == {SampleReceived, FramesMissed}
    assert len(samples) + missed == samples[-1].sequence + 1
    assert samples[-1].sequence > FRAMES - 70  # but for what still waits at the end
    assert 0.2 * FRAMES < missed < 0.8 * FRAMES


@pytest.mark.parametrize("att_mtu", [23, 247])
def test_every_frame_of_a_new_link_is_good(program: Path, att_mtu: int) -> None:
    links = drive(program, Radio(att_mtu, notifications=2, breaks_ms=1001), DRIVE_MS)
    assert len(links) == 20
    tails = [notifications[-1] for notifications in links]
    events = decode(links)
    samples = [event for event in events if isinstance(event, SampleReceived)]
    missed = sum(event.count for event in events if isinstance(event, FramesMissed))
    assert {type(event) for event in events} == {SampleReceived, FramesMissed}
    assert len(samples) + missed == samples[-1].sequence + 1
    # Half a second of each second is missing.
    assert 0.4 * FRAMES < missed < 0.8 * FRAMES
    if att_mtu == 23:
        assert any(not tail.endswith(b"\0") for tail in tails)  # a link broke within a frame


def test_a_new_link_is_good_also_for_a_receiver_that_does_not_know(program: Path) -> None:
    """The delimiter that opens each link ends what the one before left."""
    links = drive(program, Radio(23, notifications=2, breaks_ms=1001), DRIVE_MS)
    known = [event for event in decode(links) if isinstance(event, SampleReceived)]
    receiver = Receiver()
    stream = b"".join(b"".join(notifications) for notifications in links)
    unknown = [e for e in receiver.receive_data(stream) if isinstance(e, SampleReceived)]
    assert [sample.sequence for sample in unknown] == [sample.sequence for sample in known]


@pytest.mark.parametrize(
    ("compiler", "options"),
    [
        ("gcc", ("-std=c99", "-O0")),
        ("gcc", ("-std=c11", "-O2", "-Wsign-conversion", "-Wundef")),
        ("arm-none-eabi-gcc", ("-std=c99", "-mcpu=cortex-m3", "-mthumb", "-Os", "-ffreestanding")),
        ("avr-gcc", ("-std=c99", "-mmcu=atmega328p", "-Os")),
    ],
)
def test_compiles_without_a_warning(
    tmp_path: Path, compiler: str, options: tuple[str, ...]
) -> None:
    if shutil.which(compiler) is None:
        pytest.skip(f"needs {compiler}")
    source = C_FOLDER / "example_ble.c"
    compile_c(compiler, [source], *options, "-c", include=C_FOLDER, output=tmp_path / "ble.o")
