"""What is generated is up to date, and WIRE.md alone is enough to write an encoder."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from cobs import cobs
from fastcrc import crc16

import protocol
from protocol import Receiver, SampleReceived, Sender, standard_table
from protocol.generate import main, outputs
from protocol.generators.specification import filled
from protocol.generators.wording import unit_of

FOLDER = Path(protocol.__file__).parent
WIRE = (FOLDER / "WIRE.md").read_text(encoding="utf-8")
VECTORS = json.loads((FOLDER / "vectors.json").read_text(encoding="utf-8"))["frames"]
GENERATED = ("WIRE.md", "c/car_wire.h", "micropython/wire.py", "vectors.json")


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    """A folder with the generated files in it."""
    for name in GENERATED:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        shutil.copy(FOLDER / name, tmp_path / name)
    return tmp_path


def test_nothing_is_stale(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--check"]) == 0, capsys.readouterr().err


def test_the_same_table_gives_the_same_bytes_whatever_the_hash_seed() -> None:
    for seed in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-m", "protocol.generate", "--check"],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(FOLDER.parent)},
            capture_output=True,
            text=True,
        )
        assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("name", GENERATED)
def test_a_stale_file_is_named_and_mended(
    copied: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = copied / name
    good = path.read_bytes()
    path.write_bytes(good.replace(b"65500", b"65501").replace(b"655 ", b"656 "))
    assert path.read_bytes() != good
    assert main(["--check"], folder=copied) == 1
    assert capsys.readouterr().err.splitlines() == [
        f"protocol/{name} is stale: run python -m protocol.generate"
    ]
    assert main([], folder=copied) == 0
    assert capsys.readouterr().out == f"protocol/{name} written\n"
    assert path.read_bytes() == good
    assert main(["--check"], folder=copied) == 0


def test_a_missing_file_is_stale(copied: Path) -> None:
    (copied / "vectors.json").unlink()
    assert main(["--check"], folder=copied) == 1


def test_prose_around_the_generated_parts_stays() -> None:
    document = WIRE.replace("## 1. A frame", "## 1. Another heading")
    assert outputs(standard_table(), document=document)["WIRE.md"] == document


@pytest.mark.parametrize(
    "mark", ["<!-- generated: rates -->", "<!-- end: fields -->", "<!-- end: rates -->"]
)
def test_a_lost_mark_is_an_error(mark: str) -> None:
    with pytest.raises(ValueError, match="has no part"):
        filled(WIRE.replace(mark, ""), standard_table())


def rows_after(heading: str) -> Iterator[list[str]]:
    """Yield the cells of the first table behind a heading of WIRE.md, without its title rows."""
    _, _, rest = WIRE.partition(f"\n{heading}")
    assert rest, heading
    rows = re.search(r"\n\|.*\n\|[-:|]+\n((?:\|.*\n)+)", rest)
    assert rows is not None
    for row in rows[1].splitlines():
        yield [cell.strip().strip("`") for cell in row.strip("|").split("|")]


def encode_by_the_book(vector: dict[str, object]) -> bytes:
    """Encode a vector by WIRE.md's own tables and rules, as a stranger would."""
    (code,) = (cells[0] for cells in rows_after("## 2. Kinds") if cells[1] == vector["kind"])
    values = vector["values"]
    assert isinstance(values, dict)
    frame = int(code, 16).to_bytes(1, "little")
    for name, size in (("vehicle", 1), ("sequence", 2), ("clock_us", 4)):
        number = vector[name]
        assert isinstance(number, int)
        frame += number.to_bytes(size, "little")
    for at, name, type_name, _, per_unit, limits, unknown, _ in rows_after(
        f"### {vector['kind']} (`{code}`)"
    ):
        assert len(frame) == 8 + int(at)
        if type_name.startswith("text"):
            size, text = int(type_name[4:]), values[name] or ""
            while len(text.encode()) > size:
                text = text[:-1]
            frame += text.encode().ljust(size, b"\0")
            continue
        bits = re.search(rf"\nBits of `{name}`, bit 0 lowest: (.*)\.\n", WIRE)
        if bits:
            names = re.findall(r"(\d+) `(\w+)`", bits[1])
            known = [values[bit] is not None for _, bit in names]
            raw = sum(1 << int(place) for place, bit in names if values[bit])
            raw = raw if any(known) else int(unknown)
        elif values[name] is None:
            raw = int(unknown)
        else:
            low, high = map(float, limits.split(" to "))
            raw = round(min(max(values[name], low), high) * int(per_unit))
        size = int(type_name[1:]) // 8
        frame += raw.to_bytes(size, "little", signed=type_name.startswith("i"))
    crc = 0xFFFF
    for byte in frame:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    frame += bytes((crc >> 8, crc & 0xFF))
    return b"".join(bytes((len(piece) + 1,)) + piece for piece in frame.split(b"\0")) + b"\0"


@pytest.mark.parametrize("vector", VECTORS, ids=lambda each: f"{each['kind']} {each['name']}")
def test_a_stranger_with_wire_md_alone_encodes_every_vector(vector: dict[str, object]) -> None:
    assert encode_by_the_book(vector).hex() == vector["wire"]


def test_the_worked_example_is_a_good_frame_of_the_values_it_names() -> None:
    _, _, example = WIRE.partition("## 6. Worked example")
    example, _, _ = example.partition("## 7.")
    *_, wire = re.findall(r"(?:^    [0-9A-F ]+\n)+", example, flags=re.MULTILINE)
    (event,) = Receiver().receive_data(bytes.fromhex(wire))
    assert isinstance(event, SampleReceived)
    for name, value, *_ in rows_after("2. The payload"):
        if name == "flags":
            assert event.values["stabiliser_on"] is True
            assert event.values["brake_on"] is False
        else:
            assert event.values[name] == float(value.split(" ")[0])


def test_check_values_of_the_crc_are_those_of_another_library() -> None:
    rows = list(rows_after("## 4. CRC"))
    assert len(rows) == 5
    for data, value in rows:
        hexed = re.sub(r"\(.*?\)|`", "", data)
        assert crc16.ibm_3740(bytes.fromhex(hexed)) == int(value, 16)


def test_cobs_examples_are_those_of_the_library() -> None:
    rows = list(rows_after("## 5. COBS"))
    assert len(rows) == 4
    for frame, block in rows:
        assert cobs.encode(bytes.fromhex(frame)) == bytes.fromhex(block)


def test_the_builders_example_can_be_used_as_it_stands() -> None:
    toml = re.search(r"```toml\n(.*?)```", WIRE, flags=re.DOTALL)
    wire = re.search(
        r"are the\s+payload `([0-9A-F ]+)` and on the wire\n\n    ([0-9A-F ]+)\n", WIRE
    )
    assert toml is not None
    assert wire is not None
    table = standard_table().extended(toml[1], "WIRE.md")
    values = {"motor_speed_rpm": 41200, "tyre_temperature_c": 63.5}
    sender = Sender(table, vehicle=1, sequence=7)
    assert sender.encode("drive", values, 1_000_000) == bytes.fromhex(wire[2])
    assert table.by_name["drive"].encode(values) == bytes.fromhex(wire[1])
    (event,) = Receiver(table).receive_data(bytes.fromhex(wire[2]))
    assert isinstance(event, SampleReceived)
    assert event.values == values


def test_rates_are_those_worked_out_by_hand() -> None:
    rows = {(cells[0], cells[1]): cells[2:] for cells in rows_after("## 10.")}
    # A motion frame has 8 + 21 + 2 bytes, a stuffing byte and a delimiter: 33. At 100 a second that
    # is 33,000 bits of 57,600 or 115,200; two notifications of 20 bytes each, or 165 filled ones.
    assert rows["motion", "100"] == ["3300", "57.3 %", "28.6 %", "200", "165.0", "13.5"]
    # 33 x 200 + 30 x 25 + 22 x 50 + 18 x 5 + 51 x 0.5
    assert rows["**all, fast**", "280.5"][:3] == ["8565.5", "148.7 %", "74.4 %"]


def test_a_motion_frame_has_at_most_36_bytes_on_the_air() -> None:
    assert len(Sender().encode("motion", {}, 0)) <= 36


def test_every_number_has_a_unit_or_is_known_to_have_none() -> None:
    unitless = {
        each.name
        for kind in standard_table().kinds
        for each in kind.fields
        if not each.is_text and not unit_of(each)
    }
    assert unitless == {
        "clipped_samples",
        "flags",
        "satellites",
        "fix_type",
        "control_signal_raw",
        "antenna",
        "failsafe_count",
        "wire_version",
        "boot_count",
    }
