"""The C header encodes the bytes of the Python codec and accepts the frames of the receiver."""

from __future__ import annotations

import json
import random
import shutil
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from protocol import (
    FrameRejected,
    FrameUnknown,
    Kind,
    Receiver,
    SampleReceived,
    Sender,
    Table,
    standard_table,
)
from protocol.framing import MAX_DECODED_BYTES, wrap
from protocol.generators.c_header import c_header
from protocol.table import HEADER, MAX_PAYLOAD_BYTES
from tests.emulated_car import C_FOLDER
from tests.protocol.c_program import SANITISED, compile_c, driver_text
from tests.protocol.frame_samples import FrameSample, all_samples, python_frame

needs_gcc = pytest.mark.skipif(shutil.which("gcc") is None, reason="needs gcc")
pytestmark = needs_gcc

VECTORS = json.loads((C_FOLDER.parent / "vectors.json").read_text(encoding="utf-8"))["frames"]

EVERY_TYPE = (
    """
[[kind]]
name = "numbers"
code = 0x80
"""
    + "\n".join(
        f"""
[[kind.field]]
name = "{code}_count"
type = "{code}"
per_unit = {per_unit}
min = {low}
max = {high}
unknown = {unknown}
"""
        for code, per_unit, low, high, unknown in (
            ("u8", 1, 5, 200, 255),
            ("i8", 2, -60, 60, -128),
            ("u16", 3, 10, 20000, 0),
            ("i16", 7, -4000, 4000, 32767),
            ("u32", 1, 1, 4294967294, 0),
            ("i32", 1, -2147483647, 2147483647, -2147483648),
        )
    )
    + """
[[kind.field]]
name = "note"
type = "text9"

[[kind.field]]
name = "mark"
type = "text2"

[[kind]]
name = "switches"
code = 0xFE

[[kind.field]]
name = "switch_bits"
type = "u16"
min = 0
max = 511
unknown = 65535
bits = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
"""
)


def run_driver(program: Path, mode: str, data: bytes) -> list[str]:
    done = subprocess.run([str(program), mode], input=data, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.decode().splitlines()


def encode_in_c(program: Path, samples: list[FrameSample]) -> list[bytes]:
    lines = [
        " ".join(
            map(
                str,
                (
                    sample.kind.code,
                    sample.vehicle,
                    sample.sequence,
                    sample.clock_us,
                    *(
                        (raw.encode().hex() or "-") if isinstance(raw, str) else raw
                        for raw in sample.raw.values()
                    ),
                ),
            )
        )
        for sample in samples
    ]
    output = run_driver(program, "encode", "\n".join(lines).encode())
    return [bytes.fromhex(line) for line in output]


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped header, driven; built with the sanitisers."""
    folder = tmp_path_factory.mktemp("driver")
    source = folder / "driver.c"
    source.write_text(driver_text(standard_table()))
    return compile_c(
        "gcc", [source], "-std=c99", *SANITISED, include=C_FOLDER, output=folder / "driver"
    )


@pytest.fixture(scope="module")
def every_type() -> Table:
    return standard_table().extended(EVERY_TYPE, "every type")


@pytest.fixture(scope="module")
def every_type_driver(tmp_path_factory: pytest.TempPathFactory, every_type: Table) -> Path:
    """A header for a table with every type, driven."""
    folder = tmp_path_factory.mktemp("every_type")
    (folder / "car_wire.h").write_text(c_header(every_type))
    source = folder / "driver.c"
    source.write_text(driver_text(every_type))
    return compile_c(
        "gcc", [source], "-std=c99", *SANITISED, include=folder, output=folder / "driver"
    )


def test_every_frame_equals_the_python_encoder(driver: Path) -> None:
    table = standard_table()
    samples = all_samples(table, count=2000, seed=1)
    wanted = [python_frame(table, sample) for sample in samples]
    assert encode_in_c(driver, samples) == wanted


def test_every_type_of_field_equals_the_python_encoder(
    every_type: Table, every_type_driver: Path
) -> None:
    samples = all_samples(every_type, count=700, seed=2)
    wanted = [python_frame(every_type, sample) for sample in samples]
    assert encode_in_c(every_type_driver, samples) == wanted


def test_encodes_the_vectors(driver: Path) -> None:
    table = standard_table()
    samples = [
        FrameSample(
            table.by_name[each["kind"]],
            each["vehicle"],
            each["sequence"],
            each["clock_us"],
            each["raw"],
        )
        for each in VECTORS
    ]
    wanted = [bytes.fromhex(each["wire"]) for each in VECTORS]
    assert encode_in_c(driver, samples) == wanted


def test_a_kind_of_ones_own_may_fill_a_frame_and_no_more(driver: Path) -> None:
    lines = [f"200 7 8 9 {'41' * size}" for size in (1, MAX_PAYLOAD_BYTES, MAX_PAYLOAD_BYTES + 1)]
    frames = run_driver(driver, "encode", "\n".join(lines).encode())
    header = HEADER.pack(200, 7, 8, 9)
    assert frames == [
        wrap(header + b"A").hex(),
        wrap(header + b"A" * MAX_PAYLOAD_BYTES).hex(),
        "",
    ]


def test_decodes_what_it_encoded(every_type: Table, every_type_driver: Path) -> None:
    samples = all_samples(every_type, count=700, seed=3)
    stream = b"".join(python_frame(every_type, sample) for sample in samples)
    *lines, rejected = run_driver(every_type_driver, "decode", stream)
    assert rejected == "rejected 0"
    assert len(lines) == len(samples)
    for line, sample in zip(lines, samples, strict=True):
        code, vehicle, sequence, clock_us, payload, *fields = line.split(" ")
        assert (int(code), int(vehicle)) == (sample.kind.code, sample.vehicle)
        assert (int(sequence), int(clock_us)) == (sample.sequence, sample.clock_us)
        assert_fields(fields, sample.kind, bytes.fromhex(payload))


def assert_fields(fields: list[str], kind: Kind, payload: bytes) -> None:
    """Assert that C read the raw values of a payload."""
    for got, wanted in zip(fields, kind.layout.unpack_from(payload), strict=True):
        if isinstance(wanted, bytes):
            assert bytes.fromhex(got.strip("-")) == wanted.split(b"\0")[0]
        else:
            assert int(got) == wanted


def damaged_stream(seed: int) -> tuple[bytes, set[tuple[int, int, int, int, bytes]]]:
    """Return good frames of every sort with damage between and in them, and what was sent."""
    chance = random.Random(seed)
    codes = [*standard_table().by_code, 0x00, 0x55, 0x90, 0xFF]
    stream, sent = bytearray(), set()
    for _ in range(1500):
        code = chance.choice(codes)
        kind = standard_table().by_code.get(code)
        size = kind.layout.size if kind else chance.randrange(20)
        # Some payloads are longer than their kind, some shorter, the frame none the worse.
        size = max(0, size + chance.choice((0, 0, 0, 0, 1, 5, -1)))
        payload = bytes(chance.choices((0, 1, 255, chance.randrange(256)), k=size))
        header = (code, chance.randrange(3), chance.randrange(65536), chance.randrange(1 << 32))
        sent.add((*header, payload))
        block = bytearray(wrap(HEADER.pack(*header) + payload))
        match chance.randrange(8):
            case 0:
                block[chance.randrange(len(block))] ^= 1 << chance.randrange(8)
            case 1:
                del block[chance.randrange(len(block))]
            case 2:
                block.insert(chance.randrange(len(block)), chance.randrange(256))
            case 3:
                stream += chance.randbytes(chance.choice((1, 3, 64, 65, 66, 67, 200)))
            case _:
                pass
        stream += block
    return bytes(stream), sent


@pytest.mark.parametrize("seed", range(4))
def test_accepts_and_rejects_what_the_receiver_does(driver: Path, seed: int) -> None:
    stream, sent = damaged_stream(seed)
    *lines, rejected = run_driver(driver, "decode", stream)
    events = Receiver().receive_data(stream)
    accepted = [event for event in events if isinstance(event, SampleReceived | FrameUnknown)]
    assert len(lines) == len(accepted)
    for line, event in zip(lines, accepted, strict=True):
        code, vehicle, sequence, clock_us, hexed, *fields = line.split(" ")
        payload = bytes.fromhex(hexed.strip("-"))
        assert (int(vehicle), int(sequence)) == (event.vehicle, event.sequence)
        assert (int(code), event.vehicle, event.sequence, int(clock_us), payload) in sent
        if isinstance(event, FrameUnknown):
            assert (int(code), payload) == (event.code, event.payload)
        else:
            assert int(code) == event.kind.code
            assert event.kind.decode(payload) == event.values
            assert payload[event.kind.layout.size :] == event.extra
            assert_fields(fields, event.kind, payload)
    refused = sum(isinstance(event, FrameRejected) for event in events)
    assert rejected == f"rejected {refused}"
    assert refused > 200
    assert len(accepted) > 500


def test_blocks_at_the_limits_of_length(driver: Path) -> None:
    # Stuffed by hand, so that a frame one byte too long can be sent as well.
    header = HEADER.pack(0x90, 1, 2, 3)
    longest = wrap(header + b"x" * MAX_PAYLOAD_BYTES)
    assert len(longest) == MAX_DECODED_BYTES + 2
    stream = b"".join(
        (
            b"\x02\x02\0",  # a code that points past the end
            b"\x01\0",  # decodes to nothing
            wrap(b""),  # a CRC and no header
            wrap(header),  # no payload
            longest,
            longest[:-2] + b"\0",  # its last byte lost: what the buffer held before is not read
            longest[:-1] + b"x\0",  # one byte too many
            b"\xff" * 66 + b"\0",
            b"\xff" * 300 + b"\0",
            b"\0\0",
            longest,
        )
    )
    *lines, rejected = run_driver(driver, "decode", stream)
    events = Receiver().receive_data(stream)
    assert Counter(type(event) for event in events) == {FrameUnknown: 3, FrameRejected: 7}
    assert len(lines) == 3
    assert rejected == "rejected 7"


@pytest.mark.parametrize(
    ("compiler", "options"),
    [
        ("gcc", ("-std=c99", "-O0")),
        ("gcc", ("-std=c11", "-O2", "-Wsign-conversion", "-Wundef")),
        ("g++", ("-x", "c++", "-std=c++11")),
        ("arm-none-eabi-gcc", ("-std=c99", "-mcpu=cortex-m3", "-mthumb", "-Os", "-ffreestanding")),
        ("avr-gcc", ("-std=c99", "-mmcu=atmega328p", "-Os")),
    ],
)
def test_compiles_without_a_warning(
    tmp_path: Path, compiler: str, options: tuple[str, ...]
) -> None:
    if shutil.which(compiler) is None:
        pytest.skip(f"needs {compiler}")
    source = tmp_path / "use.c"
    source.write_text(
        '#include "car_wire.h"\nint nothing(void);\nint nothing(void) { return 0; }\n'
    )
    compile_c(compiler, [source], *options, "-c", include=C_FOLDER, output=tmp_path / "use.o")


def test_the_header_needs_no_library_and_no_floating_point(tmp_path: Path) -> None:
    text = (C_FOLDER / "car_wire.h").read_text()
    includes = {line for line in text.splitlines() if line.startswith("#include")}
    assert includes == {"#include <stdbool.h>", "#include <stddef.h>", "#include <stdint.h>"}
    # Without the floating-point registers x86-64 has no floating point at all.
    source = tmp_path / "use.c"
    source.write_text(driver_text(standard_table()))
    without = ("-std=c99", "-mgeneral-regs-only", "-c")
    compile_c("gcc", [source], *without, include=C_FOLDER, output=tmp_path / "use.o")


def drive_on_host(folder: Path, milliseconds: int) -> bytes:
    """Return what the example sends in so long, built as a program for this machine."""
    sources = [C_FOLDER / name for name in ("example_car.c", "invented_sensors.c", "board_host.c")]
    program = compile_c(
        "gcc", sources, "-std=c99", *SANITISED, include=C_FOLDER, output=folder / "car"
    )
    capture = folder / "capture.bin"
    subprocess.run([str(program), str(capture), str(milliseconds)], check=True)
    return capture.read_bytes()


def test_the_example_keeps_its_rates_and_holds_the_peaks(tmp_path: Path) -> None:
    events = Receiver().receive_data(drive_on_host(tmp_path, 20_000))
    assert all(isinstance(event, SampleReceived) for event in events)
    samples = [event for event in events if isinstance(event, SampleReceived)]
    counts = Counter(sample.kind.name for sample in samples)
    assert counts == {"motion": 2000, "radio": 500, "fix": 200, "power": 40, "ident": 10}
    motion = [sample.values for sample in samples if sample.kind.name == "motion"]
    # The joints of the road last 4 ms: the frames of every 10 ms miss what the held peaks show.
    frame_peaks = sum(values["accel_z_g"] > 4 for values in motion)
    held_peaks = sum(values["accel_z_max_g"] > 4 for values in motion)
    assert held_peaks >= 10
    assert frame_peaks < held_peaks
    clipped = [values for values in motion if values["clipped_samples"]]
    assert clipped
    assert all(values["sensor_clipped"] for values in clipped)
    assert all(values["accel_z_max_g"] == 16 for values in clipped)
    assert not any(values["sensor_clipped"] for values in motion if values["clipped_samples"] == 0)
    assert all(
        values["accel_z_min_g"] - 0.005 <= values["accel_z_g"] <= values["accel_z_max_g"] + 0.005
        for values in motion
    )


def test_sequence_numbers_and_the_clock_of_python_and_c_wrap_alike(driver: Path) -> None:
    table = standard_table()
    sender = Sender(table, vehicle=255, sequence=65535)
    wanted = [sender.encode("power", {}, clock_us) for clock_us in (2**32 - 1, 2**32)]
    unknown = {each.name: each.unknown for each in table.by_name["power"].fields}
    samples = [
        FrameSample(table.by_name["power"], 255, sequence, clock_us, unknown)  # type: ignore[arg-type]
        for sequence, clock_us in ((65535, 2**32 - 1), (0, 0))
    ]
    assert encode_in_c(driver, samples) == wanted
