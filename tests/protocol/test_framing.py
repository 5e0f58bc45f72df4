"""COBS and CRC against published vectors and against other people's implementations."""

from __future__ import annotations

import random

import pytest
from cobs import cobs
from crccheck.crc import Crc16Ibm3740
from fastcrc import crc16 as fastcrc16
from hypothesis import given
from hypothesis import strategies as st

from protocol import framing
from protocol.framing import MAX_DECODED_BYTES, MAX_ENCODED_BYTES, crc16, crc_is_good, unstuff, wrap

# Model and check value: CRC-16/IBM-3740 in the RevEng catalogue, as carried by the crc-catalog
# crate. The other rows were computed with fastcrc 0.5.0, crccheck 1.3.1 and crcmod-plus 2.3.6.
CRC_VECTORS = [
    (b"123456789", 0x29B1),
    (b"", 0xFFFF),
    (b"\x00", 0xE1F0),
    (b"A", 0xB915),
    (b"\xff\xff", 0x0000),
    (bytes(64), 0xD6DA),
    (b"\xff" * 64, 0xF154),
    (bytes(range(256)), 0x3FBD),
]

# Cheshire and Baker, IEEE/ACM ToN 7(2), 1999: the method. The IP header (third from the end) is
# the paper's example, from memory; all rows computed with the PyPI package `cobs` 1.2.2.
COBS_VECTORS = [
    ("", "01"),
    ("00", "01 01"),
    ("00 00", "01 01 01"),
    ("00 11 00", "01 02 11 01"),
    ("11 22 00 33", "03 11 22 02 33"),
    ("45 00 00 2C 4C 79 00 00 40 06 4F 37", "02 45 01 04 2C 4C 79 01 05 40 06 4F 37"),
    ("11 22 33 44", "05 11 22 33 44"),
    ("11 00 00 00", "02 11 01 01 01"),
]


@pytest.mark.parametrize(("data", "crc"), CRC_VECTORS)
def test_the_crc_has_its_published_values(data: bytes, crc: int) -> None:
    assert crc16(data) == crc


@given(st.binary(max_size=100))
def test_the_crc_equals_two_other_implementations(data: bytes) -> None:
    assert crc16(data) == fastcrc16.ibm_3740(data) == Crc16Ibm3740.calc(data)


@given(st.binary(max_size=62))
def test_the_crc_over_data_and_crc_is_zero(data: bytes) -> None:
    whole = data + crc16(data).to_bytes(2, "big")
    assert crc16(whole) == 0
    assert crc_is_good(whole)
    assert not crc_is_good(whole[:-1] + bytes([whole[-1] ^ 1]))


@pytest.mark.parametrize(("plain", "stuffed"), COBS_VECTORS)
def test_cobs_has_its_published_values(plain: str, stuffed: str) -> None:
    assert cobs.encode(bytes.fromhex(plain)) == bytes.fromhex(stuffed)
    assert unstuff(bytes.fromhex(stuffed)) == bytes.fromhex(plain)


def counting(first: int, last: int) -> bytes:
    return bytes(range(first, last + 1))


# Longer than any frame of ours, but the method's corner; computed with `cobs` 1.2.2.
@pytest.mark.parametrize(
    ("plain", "stuffed"),
    [
        (counting(1, 254), b"\xff" + counting(1, 254)),
        (b"\0" + counting(1, 254), b"\x01\xff" + counting(1, 254)),
        (counting(1, 255), b"\xff" + counting(1, 254) + b"\x02\xff"),
        (counting(2, 255) + b"\0", b"\xff" + counting(2, 255) + b"\x01\x01"),
        (counting(3, 255) + b"\0\x01", b"\xfe" + counting(3, 255) + b"\x02\x01"),
    ],
)
def test_cobs_around_a_full_block(plain: bytes, stuffed: bytes) -> None:
    assert cobs.encode(plain) == stuffed
    assert unstuff(stuffed) == plain


def test_a_full_block_may_end_with_an_empty_one() -> None:
    # Some encoders end a packet so: the same data, and accepted.
    assert unstuff(b"\xff" + counting(1, 254) + b"\x01") == counting(1, 254)


@pytest.mark.parametrize("block", ["00", "05 11 22", "03 11 00", "02", "FF 11", "01 05 11"])
def test_what_is_no_cobs_block_is_told(block: str) -> None:
    assert unstuff(bytes.fromhex(block)) is None


@given(st.binary(max_size=MAX_DECODED_BYTES - 2))
def test_a_wrapped_body_comes_back(body: bytes) -> None:
    wire = wrap(body)
    assert wire.count(b"\0") == 1
    assert wire.endswith(b"\0")
    assert len(wire) == len(body) + 4
    frame = unstuff(wire[:-1])
    assert frame is not None
    assert crc_is_good(frame)
    assert frame[:-2] == body


@given(st.binary(max_size=600))
def test_cobs_of_any_length_comes_back(data: bytes) -> None:
    stuffed = cobs.encode(data)
    assert b"\0" not in stuffed
    assert unstuff(stuffed) == data
    # "No more than one byte in 254": the paper's abstract.
    assert len(stuffed) <= len(data) + max(1, -(-len(data) // 254))


def test_the_longest_body_fills_the_longest_frame() -> None:
    assert len(wrap(b"\xff" * (MAX_DECODED_BYTES - 2))) == MAX_ENCODED_BYTES + 1
    with pytest.raises(ValueError, match="at most 64 bytes, this one has 65"):
        wrap(b"\xff" * (MAX_DECODED_BYTES - 1))


def test_every_burst_of_16_bits_is_caught_in_the_longest_frame() -> None:
    # A property of every 16-bit CRC whose polynomial has the lowest term (common knowledge).
    frame = random.Random(1).randbytes(MAX_DECODED_BYTES - 2)
    frame += crc16(frame).to_bytes(2, "big")
    number, bits = int.from_bytes(frame, "big"), 8 * len(frame)
    chance = random.Random(2)
    for place in range(bits - 15):
        for burst in {0x8001, 0xFFFF, *(0x8001 | chance.randrange(1 << 16) for _ in range(20))}:
            assert not crc_is_good((number ^ burst << place).to_bytes(len(frame), "big"))


def test_limits_agree_with_each_other() -> None:
    assert framing.CRC_BYTES == 2
    assert MAX_DECODED_BYTES == 64
    assert MAX_ENCODED_BYTES == 65
