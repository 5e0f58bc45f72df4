"""One frame on the wire: COBS(body + CRC-16) + 0x00.

Owns the frame's limits and its two checks; knows nothing of kinds or fields.
COBS: Cheshire and Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
Transactions on Networking 7(2), 1999. CRC-16/IBM-3740: polynomial 0x1021, start
0xFFFF, not reflected.

The CRC is the wire's only big-endian field: sent high byte first, in the order in
which a 0x1021 shift register emits it, every burst of up to 16 bits is caught, also one
that straddles the body and the CRC, and the CRC over body and CRC is zero.
"""

from __future__ import annotations

from binascii import crc_hqx

from cobs import cobs

DELIMITER = b"\x00"

MAX_DECODED_BYTES = 64
"""Body and CRC. Up to here 0x1021 has Hamming distance 4, and one COBS code byte suffices."""

MAX_ENCODED_BYTES = MAX_DECODED_BYTES + 1
"""A frame on the wire without its delimiter; a receiver never buffers more than this."""

CRC_BYTES = 2
_CRC_START = 0xFFFF


def crc16(data: bytes) -> int:
    """Return the CRC-16/IBM-3740 of `data` (0x29B1 for b"123456789")."""
    return crc_hqx(data, _CRC_START)


def wrap(body: bytes) -> bytes:
    """Return `body` with its CRC, stuffed and delimited, ready for the wire.

    Raises:
        ValueError: The frame would be longer than `MAX_DECODED_BYTES`.
    """
    frame = body + crc16(body).to_bytes(CRC_BYTES, "big")
    if len(frame) > MAX_DECODED_BYTES:
        raise ValueError(
            f"a frame has at most {MAX_DECODED_BYTES} bytes, this one has {len(frame)}"
        )
    stuffed: bytes = cobs.encode(frame)
    return stuffed + DELIMITER


def unstuff(block: bytes) -> bytes | None:
    """Return the decoded frame (body and CRC) of one block, or None if it is no COBS block."""
    try:
        frame: bytes = cobs.decode(block)
    except cobs.DecodeError:
        return None
    return frame


def crc_is_good(frame: bytes) -> bool:
    """Return whether the last two bytes of `frame` are the CRC of the rest."""
    return crc_hqx(frame, _CRC_START) == 0
