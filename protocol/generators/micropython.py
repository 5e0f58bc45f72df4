"""`micropython/wire.py`: the encoder of the wire for firmware in MicroPython.

Rules of the module: whole numbers only; clamped before they are packed, for MicroPython's
`struct` wraps silently where CPython raises; nothing from `binascii`, which has no `crc_hqx`
there. It runs under CPython too, where the tests compare it.
"""

from __future__ import annotations

from collections.abc import Iterator

from protocol.framing import CRC_BYTES, MAX_DECODED_BYTES
from protocol.generators.wording import NOTICE, member_name, number, with_unit
from protocol.table import MAX_PAYLOAD_BYTES, Field, Kind, Table


def micropython_module(table: Table) -> str:
    """Return the text of the module."""
    constants = [
        f"WIRE_VERSION = {table.wire_version}",
        f"MAX_PAYLOAD_BYTES = {MAX_PAYLOAD_BYTES}  # {MAX_DECODED_BYTES} with header and"
        f" {CRC_BYTES} bytes of CRC",
        *_bits(table),
    ]
    head = _HEAD % {"notice": NOTICE, "constants": "\n".join(constants)}
    return head.lstrip("\n") + "".join(f"\n{_method(kind)}\n" for kind in table.kinds)


_HEAD = '''
"""The wire from the car to the ground station, for firmware in MicroPython.

%(notice)s
The specification is protocol/WIRE.md. Arguments are whole numbers; a name that ends with _x100
counts hundredths of the unit before it. What is left out, or None, is "not measured".

    encoder = Encoder(vehicle=1)
    uart.write(encoder.motion(clock_us, speed_mps_x100=4250))

The clock counts microseconds and wraps at 2**32. `time.ticks_us()` wraps earlier on most boards,
so add up its steps, at least once a minute:

    now = time.ticks_us()
    clock_us += time.ticks_diff(now, last)
    last = now
"""

import struct

%(constants)s


def crc16(data):
    """Return the CRC-16/IBM-3740: 0x29B1 for b"123456789"."""
    crc = 0xFFFF
    for byte in data:
        x = (crc >> 8) ^ byte
        x ^= x >> 4
        crc = ((crc << 8) ^ (x << 12) ^ (x << 5) ^ x) & 0xFFFF
    return crc


def stuff(frame):
    """Return the COBS block of a frame shorter than 254 bytes, with its delimiter."""
    block = bytearray(1)
    code_at = 0
    for byte in frame:
        if not byte:
            block[code_at] = len(block) - code_at
            code_at = len(block)
        block.append(byte)
    block[code_at] = len(block) - code_at
    block.append(0)
    return bytes(block)


def _clamp(raw, low, high, unknown):
    if raw is None or raw == unknown:
        return unknown
    return min(max(raw, low), high)


def _text(text, size):
    data = (text or "").encode().split(b"\\0")[0]
    end = min(len(data), size)
    # A character of several bytes is sent whole or not at all.
    while end < len(data) and end > 0 and data[end] & 0xC0 == 0x80:
        end -= 1
    return data[:end] + bytes(size - end)


class Encoder:
    """Encodes the frames of one vehicle and counts them, all kinds together."""

    def __init__(self, vehicle=1, sequence=0):
        self.vehicle = vehicle
        self.sequence = sequence

    def frame(self, kind, clock_us, payload):
        """Return one frame of any kind, also one of your own (0x80 to 0xFE)."""
        if len(payload) > MAX_PAYLOAD_BYTES:
            raise ValueError("payload too long")
        clock_us &= 0xFFFFFFFF
        body = struct.pack("<BBHI", kind, self.vehicle, self.sequence, clock_us) + payload
        self.sequence = (self.sequence + 1) & 0xFFFF
        return stuff(body + struct.pack(">H", crc16(body)))
'''


def _bits(table: Table) -> Iterator[str]:
    for kind in table.kinds:
        for each in kind.fields:
            for place, bit in enumerate(each.bits):
                yield f"{kind.name}_{each.name}_{bit}".upper() + f" = 0x{1 << place:02X}"


def _method(kind: Kind) -> str:
    lines = [f"    def {kind.name}(", "        self,", "        clock_us,", "        *,"]
    lines += [f"        {member_name(each)}=None,  # {_range(each)}" for each in kind.fields]
    lines += [
        "    ):",
        f'        """Return one {kind.name} frame.',
        "",
        f"        {kind.doc}",
        '        """',
        "        payload = struct.pack(",
        f'            "<{"".join(each.code for each in kind.fields)}",',
        *(f"            {_packed(each)}," for each in kind.fields),
        "        )",
        f"        return self.frame(0x{kind.code:02X}, clock_us, payload)",
    ]
    return "\n".join(lines)


def _range(each: Field) -> str:
    if each.is_text:
        return f"text, {each.size} bytes of UTF-8"
    return with_unit(f"{number(each.min)} to {number(each.max)}", each)


def _packed(each: Field) -> str:
    if each.is_text:
        return f"_text({each.name}, {each.size})"
    return f"_clamp({member_name(each)}, {each.raw_min}, {each.raw_max}, {each.unknown})"
