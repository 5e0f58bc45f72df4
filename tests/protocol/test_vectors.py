"""The golden vectors: some worked out by hand, all of them true for the Python codec."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import protocol
from protocol import Receiver, SampleReceived, Sender, standard_table

DOCUMENT = json.loads((Path(protocol.__file__).parent / "vectors.json").read_text(encoding="utf-8"))
VECTORS: list[dict[str, Any]] = DOCUMENT["frames"]


def vector(kind: str, name: str) -> dict[str, Any]:
    (found,) = (each for each in VECTORS if each["kind"] == kind and each["name"] == name)
    return found


def shifted_crc(data: bytes) -> int:
    """The CRC's definition, bit by bit: polynomial 0x1021, start 0xFFFF, highest bit first."""
    register = 0xFFFF
    for byte in data:
        for place in range(7, -1, -1):
            feedback = (register >> 15) ^ (byte >> place & 1)
            register = (register << 1 & 0xFFFF) ^ (0x1021 if feedback else 0)
    return register


def test_the_definition_of_the_crc_has_the_published_check_value() -> None:
    # CRC-16/IBM-3740, check value of the catalogue of parametrised CRC algorithms.
    assert shifted_crc(b"123456789") == 0x29B1


# Worked out by hand from WIRE.md: (hex, what it is). The zeros are cut out below.
POWER_TYPICAL = [
    ("04", "kind power"),
    ("01", "vehicle 1"),
    ("0004", "sequence 1024 = 0x0400, low byte first"),
    ("4E61BC00", "12 345 678 us = 0x00BC614E"),
    ("2E06", "15.82 V in 1/100 V: 1582 = 0x062E"),
    ("7403", "88.4 A in 1/10 A: 884 = 0x0374"),
    ("9F01", "41.5 degrees in 1/10: 415 = 0x019F"),
    ("03E7", "the CRC, high byte first"),
]
POWER_ON_THE_WIRE = [
    ("03", "two bytes, then a zero"),
    ("0401", ""),
    ("05", "four bytes, then a zero"),
    ("044E61BC", ""),
    ("09", "eight bytes to the end"),
    ("2E0674039F0103E7", ""),
    ("00", "the delimiter"),
]
MOTION_UNKNOWN = [
    ("01", "kind motion"),
    ("01", "vehicle 1"),
    ("0301", "sequence 256 + 3 = 0x0103"),
    ("4E61BC00", "12 345 678 us = 0x00BC614E"),
    ("FFFF", "speed: 65535"),
    ("0080", "yaw rate: -32768 = 0x8000"),
    ("0080 0080 0080 0080 0080", "five accelerations"),
    ("FF", "clipped samples: 255"),
    ("0080 0080", "steering, correction"),
    ("80", "throttle: -128"),
    ("FF", "flags: 255"),
    ("3F0F", "the CRC"),
]
MOTION_UNKNOWN_ON_THE_WIRE = [
    ("08", "seven bytes, then a zero"),
    ("010103014E61BC", ""),
    ("03", ""),
    ("FFFF", ""),
    ("02 80 02 80 02 80 02 80 02 80", "each 00 80 begins with a zero"),
    ("03", "the last acceleration and the clipped samples"),
    ("80FF", ""),
    ("02 80", "steering"),
    ("06", "correction to the end"),
    ("8080FF3F0F", ""),
    ("00", "the delimiter"),
]
FIX_LOWEST = [
    ("02", "kind fix"),
    ("01", "vehicle 1"),
    ("0102", "sequence 512 + 1 = 0x0201"),
    ("4E61BC00", "12 345 678 us = 0x00BC614E"),
    ("00175BCA", "-90 degrees in 1e-7: -900 000 000 = 0xCA5B1700"),
    ("002EB694", "-180 degrees: -1 800 000 000 = 0x94B62E00"),
    ("0000 0000 0000 0000", "speed, course, two accuracies"),
    ("00", "satellites"),
    ("00", "fix type"),
]


def joined(parts: list[tuple[str, str]]) -> bytes:
    return bytes.fromhex("".join(hexed for hexed, _ in parts))


@pytest.mark.parametrize(
    ("kind", "name", "decoded", "wire"),
    [
        ("power", "typical", POWER_TYPICAL, POWER_ON_THE_WIRE),
        ("motion", "all unknown", MOTION_UNKNOWN, MOTION_UNKNOWN_ON_THE_WIRE),
    ],
)
def test_equals_the_frame_worked_out_by_hand(
    kind: str, name: str, decoded: list[tuple[str, str]], wire: list[tuple[str, str]]
) -> None:
    frame = joined(decoded)
    assert shifted_crc(frame[:-2]) == int.from_bytes(frame[-2:], "big")
    assert joined(wire).replace(b"\0", b"") == joined(wire)[:-1]
    assert vector(kind, name)["wire"] == joined(wire).hex()


def test_lowest_fix_has_the_bytes_worked_out_by_hand() -> None:
    body = joined(FIX_LOWEST)
    frame = body + shifted_crc(body).to_bytes(2, "big")
    pieces = [bytes((len(piece) + 1,)) + piece for piece in frame.split(b"\0")]
    assert vector("fix", "all minimum")["wire"] == b"".join((*pieces, b"\0")).hex()


def test_text_is_cut_before_the_character_that_does_not_fit() -> None:
    # A euro sign is E2 82 AC: five of them are 15 of 16 bytes; two letters and three are 11 of 12.
    payload = bytes.fromhex("E282AC" * 5 + "00" + "6161" + "E282AC" * 3 + "00")
    cut = vector("ident", "text cut inside a character")
    stuffed = payload.replace(b"\0", b"\x0c", 1)  # 2 + 9 bytes to the next zero
    assert stuffed[:-1].hex() in cut["wire"]
    assert cut["raw"]["vehicle_name"] == "\u20ac" * 5
    assert cut["raw"]["firmware"] == "aa\u20ac\u20ac\u20ac"


def test_every_kind_has_every_vector() -> None:
    names = {kind.name: set() for kind in standard_table().kinds}
    for each in VECTORS:
        names[each["kind"]].add(each["name"])
    wanted = {"typical", "all minimum", "all maximum", "all unknown", "under range", "over range"}
    for kind, found in names.items():
        assert found == (wanted | {"text cut inside a character"} if kind == "ident" else wanted)
    assert len({each["wire"] for each in VECTORS}) == len(VECTORS)


@pytest.mark.parametrize("each", VECTORS, ids=lambda each: f"{each['kind']} {each['name']}")
def test_encodes_and_decodes(each: dict[str, Any]) -> None:
    sender = Sender(vehicle=each["vehicle"], sequence=each["sequence"])
    wire = sender.encode(each["kind"], each["values"], each["clock_us"])
    assert wire.hex() == each["wire"]
    (event,) = Receiver().receive_data(wire)
    assert isinstance(event, SampleReceived)
    assert (event.vehicle, event.sequence) == (each["vehicle"], each["sequence"])
    assert event.vehicle_s == each["clock_us"] / 1e6
    raw = {}
    for field in event.kind.fields:
        if field.bits:
            known = [event.values[bit] for bit in field.bits]
            raw[field.name] = sum(bool(bit) << place for place, bit in enumerate(known))
            raw[field.name] = field.unknown if None in known else raw[field.name]
        elif field.is_text:
            raw[field.name] = event.values[field.name] or ""
        else:
            value = event.values[field.name]
            raw[field.name] = field.unknown if value is None else value * field.per_unit
    assert raw == pytest.approx(each["raw"])


@pytest.mark.parametrize(
    ("name", "same_as"), [("under range", "all minimum"), ("over range", "all maximum")]
)
def test_numbers_out_of_range_are_clamped(name: str, same_as: str) -> None:
    for kind in standard_table().kinds:
        clamped, limit = vector(kind.name, name)["raw"], vector(kind.name, same_as)["raw"]
        for field in kind.fields:
            if not field.is_text:
                assert clamped[field.name] == limit[field.name]
