"""A C program around a generated header, to be driven through its standard input.

encode   lines "kind vehicle sequence clock field..." in, one frame in hex a line out; text in hex
decode   a stream of bytes in; a line "kind vehicle sequence clock payload field..." for each
         accepted frame, then "rejected N"
"""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from pathlib import Path

from protocol import Kind, Table
from protocol.generators.wording import member_name
from tests.emulated_car import STRICT

SANITISED = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all")
"""A read past an end or a signed overflow ends the program."""


def compile_c(
    compiler: str, sources: Sequence[Path], *options: str, include: Path, output: Path
) -> Path:
    """Compile, every warning an error; return `output`."""
    command = [compiler, *STRICT, f"-I{include}", *options, "-o", str(output)]
    done = subprocess.run(
        [*command, *(str(source) for source in sources)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return output


def driver_text(table: Table) -> str:
    """Return the program's text for the kinds of `table`."""
    return _DRIVER % {
        "encoders": "\n".join(_encoder(kind) for kind in table.kinds),
        "encode": "\n".join(f"    {_case(kind, 'encode_' + kind.name)}" for kind in table.kinds),
        "printers": "\n".join(_printer(kind) for kind in table.kinds),
        "print": "\n".join(f"    print_{kind.name}(frame);" for kind in table.kinds),
    }


def _case(kind: Kind, function: str) -> str:
    return f"case {kind.code}: return {function}(vehicle, sequence, clock_us, out);"


def _encoder(kind: Kind) -> str:
    lines = [
        f"static size_t encode_{kind.name}(uint8_t vehicle, uint16_t sequence, uint32_t clock_us,",
        "    uint8_t out[WIRE_MAX_FRAME])",
        "{",
        f"    struct wire_{kind.name} sample;",
        f"    wire_clear_{kind.name}(&sample);",
    ]
    for each in kind.fields:
        if each.is_text:
            lines.append(f"    wire_set_text(sample.{each.name}, {each.size}, next_text());")
        else:
            number = "uint32_t" if each.type == "u32" else "int32_t"
            lines.append(f"    sample.{member_name(each)} = ({number})next_number();")
    lines += [
        f"    return wire_encode_{kind.name}(&sample, vehicle, sequence, clock_us, out);",
        "}",
    ]
    return "\n".join(lines)


def _printer(kind: Kind) -> str:
    lines = [
        f"static void print_{kind.name}(const struct wire_frame *frame)",
        "{",
        f"    struct wire_{kind.name} sample;",
        f"    if (!wire_decode_{kind.name}(frame, &sample))",
        "        return;",
    ]
    for each in kind.fields:
        if each.is_text:
            lines.append(
                f"    print_hex((const uint8_t *)sample.{each.name}, strlen(sample.{each.name}));"
            )
        else:
            lines.append(f'    printf(" %lld", (long long)sample.{member_name(each)});')
    return "\n".join([*lines, "}"])


_DRIVER = r"""
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "car_wire.h"

static char line[4096];
static char text[256];

static long long next_number(void)
{
    return strtoll(strtok(NULL, " \n"), NULL, 10);
}

static const char *next_text(void)
{
    const char *hex = strtok(NULL, " \n");
    size_t count = 0;
    for (; hex[0] != '-' && hex[2 * count] != '\0'; count++) {
        const char pair[3] = {hex[2 * count], hex[2 * count + 1], '\0'};
        text[count] = (char)strtol(pair, NULL, 16);
    }
    text[count] = '\0';
    return text;
}

%(encoders)s

static size_t encode(int kind, uint8_t vehicle, uint16_t sequence, uint32_t clock_us,
                     uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t own[256];
    const char *payload;
    switch (kind) {
%(encode)s
    default: break;
    }
    payload = next_text();
    memcpy(own, payload, strlen(payload));
    return wire_encode((uint8_t)kind, own, strlen(payload), vehicle, sequence, clock_us, out);
}

static void encode_lines(void)
{
    while (fgets(line, sizeof line, stdin) != NULL) {
        uint8_t out[WIRE_MAX_FRAME];
        const int kind = (int)strtol(strtok(line, " \n"), NULL, 10);
        const uint8_t vehicle = (uint8_t)next_number();
        const uint16_t sequence = (uint16_t)next_number();
        const uint32_t clock_us = (uint32_t)next_number();
        const size_t size = encode(kind, vehicle, sequence, clock_us, out);
        for (size_t i = 0; i < size; i++)
            printf("%%02x", out[i]);
        putchar('\n');
    }
}

static void print_hex(const uint8_t *bytes, size_t count)
{
    putchar(' ');
    if (count == 0)
        putchar('-');
    for (size_t i = 0; i < count; i++)
        printf("%%02x", bytes[i]);
}

%(printers)s

static void decode_stream(void)
{
    struct wire_decoder decoder;
    int byte;
    wire_decoder_start(&decoder);
    while ((byte = getchar()) != EOF) {
        const struct wire_frame *frame = wire_decoder_push(&decoder, (uint8_t)byte);
        if (frame == NULL)
            continue;
        printf("%%d %%d %%d %%lu", frame->kind, frame->vehicle, frame->sequence,
               (unsigned long)frame->clock_us);
        print_hex(frame->payload, frame->payload_size);
%(print)s
        putchar('\n');
    }
    printf("rejected %%lu\n", (unsigned long)decoder.rejected);
}

int main(int count, char **arguments)
{
    if (count == 2 && strcmp(arguments[1], "encode") == 0)
        encode_lines();
    else
        decode_stream();
    return 0;
}
"""
