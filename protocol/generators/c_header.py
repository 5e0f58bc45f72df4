"""`c/car_wire.h`: encoder and decoder of the wire in one C99 header.

Rules of the header: integers only, no memory taken from a heap, no library, no byte order or
size of `int` assumed, no warning under -Wall -Wextra -Wconversion -Wpedantic; it is C++ as well.
Its decoder accepts exactly the frames that `protocol.Receiver` accepts.
"""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import dedent, fill, indent

from protocol.framing import CRC_BYTES, MAX_DECODED_BYTES, MAX_ENCODED_BYTES
from protocol.generators.c_core import CORE, DECODER, HEAD
from protocol.generators.wording import NOTICE, member_name, number, with_unit
from protocol.table import HEADER, MAX_PAYLOAD_BYTES, Field, Kind, Table


def c_header(table: Table) -> str:
    """Return the text of the header."""
    parts = [HEAD % {"notice": NOTICE}, _limits(table), CORE]
    parts += [part for kind in table.kinds for part in _kind(kind)]
    parts += [_smallest_payload(table), DECODER, "#endif\n"]
    return "\n".join(part.strip("\n") + "\n" for part in parts)


def _limits(table: Table) -> str:
    return dedent(f"""
        #define WIRE_VERSION {table.wire_version}u
        #define WIRE_HEADER_BYTES {HEADER.size}u
        #define WIRE_CRC_BYTES {CRC_BYTES}u
        /* Header, payload and CRC together. */
        #define WIRE_MAX_DECODED {MAX_DECODED_BYTES}u
        #define WIRE_MAX_PAYLOAD {MAX_PAYLOAD_BYTES}u
        /* On the wire: one COBS code byte before, the delimiter behind. */
        #define WIRE_MAX_FRAME {MAX_ENCODED_BYTES + 1}u
        """)


def _kind(kind: Kind) -> Iterator[str]:
    """Yield a kind's constants, struct and functions."""
    title = f"/* --- {kind.name} "
    yield title.ljust(87, "-") + " */"
    yield _comment(kind.doc)
    yield _constants(kind)
    yield _struct(kind)
    yield _clear(kind)
    yield _encode(kind)
    yield _decode(kind)


def _constants(kind: Kind) -> str:
    prefix = f"WIRE_{kind.name.upper()}"
    lines = [
        f"#define {prefix} 0x{kind.code:02X}u",
        f"#define {prefix}_BYTES {kind.layout.size}u",
    ]
    for each in kind.fields:
        name = f"{prefix}_{each.name.upper()}"
        if each.is_text:
            lines.append(f"#define {name}_BYTES {each.size}u")
        else:
            assert each.unknown is not None
            lines.append(f"#define {name}_UNKNOWN {_literal(each.unknown, each)}")
        lines += [
            f"#define {name}_{bit.upper()} {_literal(1 << place, each)}"
            for place, bit in enumerate(each.bits)
        ]
    return "\n".join(lines)


def _struct(kind: Kind) -> str:
    lines = [f"struct wire_{kind.name} {{"]
    for each in kind.fields:
        lines.append(indent(_comment(f"{each.doc} {_range(each)}"), "    "))
        if each.is_text:
            lines.append(f"    char {each.name}[{each.size} + 1];")
        else:
            lines.append(f"    {_c_type(each)} {member_name(each)};")
    return "\n".join([*lines, "};"])


def _range(each: Field) -> str:
    if each.is_text:
        return f"UTF-8, at most {each.size} bytes; empty says unknown."
    counts = f"{each.raw_min} to {each.raw_max}"
    if each.per_unit == 1:
        return with_unit(counts, each) + "."
    limits = with_unit(f"{number(each.min)} to {number(each.max)}", each)
    return f"{counts} ({limits})."


def _clear(kind: Kind) -> str:
    lines = [
        "/* Sets every member to unknown. */",
        f"static inline void wire_clear_{kind.name}(struct wire_{kind.name} *{kind.name})",
        "{",
    ]
    for each in kind.fields:
        name = f"WIRE_{kind.name.upper()}_{each.name.upper()}"
        if each.is_text:
            lines.append(f'    wire_set_text({kind.name}->{each.name}, {name}_BYTES, "");')
        else:
            lines.append(f"    {kind.name}->{member_name(each)} = {name}_UNKNOWN;")
    return "\n".join([*lines, "}"])


def _encode(kind: Kind) -> str:
    opening = f"static inline size_t wire_encode_{kind.name}("
    hang = " " * len(opening)
    lines = [
        "/* Writes one frame to out and returns its size. */",
        f"{opening}const struct wire_{kind.name} *{kind.name}, uint8_t vehicle,",
        f"{hang}uint16_t sequence, uint32_t clock_us,",
        f"{hang}uint8_t out[WIRE_MAX_FRAME])",
        "{",
        "    uint8_t *const at = out + WIRE_PAYLOAD_AT;",
    ]
    for offset, each in _placed(kind):
        name = f"WIRE_{kind.name.upper()}_{each.name.upper()}"
        if each.is_text:
            text = f"{kind.name}->{each.name}"
            lines.append(f"    wire_put_text(at + {offset}, {name}_BYTES, {text});")
            continue
        clamp = "wire_clamp_u32" if each.type == "u32" else "wire_clamp"
        limits = f"{_literal(each.raw_min, each)}, {_literal(each.raw_max, each)}"
        lines += [
            f"    wire_put_{8 * each.size}(at + {offset},",
            f"        {clamp}({kind.name}->{member_name(each)}, {limits},",
            f"            {name}_UNKNOWN));",
        ]
    prefix = f"WIRE_{kind.name.upper()}"
    lines += [
        f"    return wire_close({prefix}, vehicle, sequence, clock_us, {prefix}_BYTES, out);",
        "}",
    ]
    return "\n".join(lines)


def _decode(kind: Kind) -> str:
    opening = f"static inline bool wire_decode_{kind.name}("
    hang = " " * len(opening)
    prefix = f"WIRE_{kind.name.upper()}"
    lines = [
        "/* Reads a frame; returns false where it is of another kind. */",
        f"{opening}const struct wire_frame *frame,",
        f"{hang}struct wire_{kind.name} *{kind.name})",
        "{",
        "    const uint8_t *const at = frame->payload;",
        f"    if (frame->kind != {prefix} || frame->payload_size < {prefix}_BYTES)",
        "        return false;",
    ]
    for offset, each in _placed(kind):
        if each.is_text:
            size = f"{prefix}_{each.name.upper()}_BYTES"
            lines.append(f"    wire_get_text({kind.name}->{each.name}, {size}, at + {offset});")
            continue
        bits = 8 * each.size
        raw = f"wire_get_{bits}(at + {offset})"
        if each.type.startswith("i"):
            raw = f"wire_signed({raw}, UINT32_C(0x{1 << (bits - 1):X}))"
        elif each.type != "u32":
            raw = f"(int32_t){raw}"
        lines.append(f"    {kind.name}->{member_name(each)} = {raw};")
    return "\n".join([*lines, "    return true;", "}"])


def _smallest_payload(table: Table) -> str:
    lines = [
        "/* --- Receiving ".ljust(87, "-") + " */",
        "",
        "/* The fewest payload bytes of a kind; a kind that is not known here has any number. */",
        "static inline size_t wire_smallest_payload(uint8_t kind)",
        "{",
        "    switch (kind) {",
    ]
    for kind in table.kinds:
        prefix = f"WIRE_{kind.name.upper()}"
        lines.append(f"    case {prefix}: return {prefix}_BYTES;")
    return "\n".join([*lines, "    default: return 0;", "    }", "}"])


def _placed(kind: Kind) -> Iterator[tuple[int, Field]]:
    offset = 0
    for each in kind.fields:
        yield offset, each
        offset += each.size


def _c_type(each: Field) -> str:
    return "uint32_t" if each.type == "u32" else "int32_t"


def _literal(raw: int, each: Field) -> str:
    if each.type == "u32":
        return f"UINT32_C({raw})"
    if raw == -(1 << 31):
        return "(-INT32_C(2147483647) - 1)"  # 2147483648 is no int32_t
    return f"INT32_C({raw})" if raw >= 0 else f"(-INT32_C({-raw}))"


def _comment(text: str) -> str:
    # The closing mark stays beside the last word.
    text = fill(f"/* {text.strip()}\0*/", 92, subsequent_indent="   ", break_on_hyphens=False)
    return text.replace("\0", " ")
