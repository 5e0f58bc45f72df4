"""The parts of `c/car_wire.h` that are the same for every frame table, as they stand there."""

from __future__ import annotations

HEAD = """
/* The wire between the car and the ground station, for firmware.
 *
 * %(notice)s
 * The specification is protocol/WIRE.md; a complete program that uses this header is example_car.c.
 *
 * The three steps to send: fill a struct (wire_clear_... sets every member to "not measured"),
 * encode it, write the bytes. One sequence number counts the frames of all kinds.
 *
 *     struct wire_motion motion;
 *     uint8_t frame[WIRE_MAX_FRAME];
 *     wire_clear_motion(&motion);
 *     motion.speed_mps_x100 = 4250;
 *     write(frame, wire_encode_motion(&motion, vehicle, sequence++, clock_us, frame));
 *
 * Members are raw integers; a name that ends with _x100 counts hundredths of the unit before it.
 * They are wider than on the wire, so that a value out of range is clamped and does not wrap.
 */
#ifndef GROUNDSTATION_WIRE_H
#define GROUNDSTATION_WIRE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
"""


CORE = r"""
/* --- Bytes ------------------------------------------------------------------------------ */

static inline void wire_put_8(uint8_t *at, uint32_t raw)
{
    at[0] = (uint8_t)(raw & 0xFFu);
}

static inline void wire_put_16(uint8_t *at, uint32_t raw)
{
    wire_put_8(at, raw);
    wire_put_8(at + 1, raw >> 8);
}

static inline void wire_put_32(uint8_t *at, uint32_t raw)
{
    wire_put_16(at, raw);
    wire_put_16(at + 2, raw >> 16);
}

static inline uint32_t wire_get_8(const uint8_t *at)
{
    return at[0];
}

static inline uint32_t wire_get_16(const uint8_t *at)
{
    return wire_get_8(at) | wire_get_8(at + 1) << 8;
}

static inline uint32_t wire_get_32(const uint8_t *at)
{
    return wire_get_16(at) | wire_get_16(at + 2) << 16;
}

/* Reads two's complement from the low bits of raw; sign is the value of the highest of them. */
static inline int32_t wire_signed(uint32_t raw, uint32_t sign)
{
    if (raw < sign)
        return (int32_t)raw;
    return -(int32_t)(sign - 1u - (raw - sign)) - 1;
}

static inline uint32_t wire_clamp(int32_t raw, int32_t low, int32_t high, int32_t unknown)
{
    if (raw != unknown && raw < low)
        raw = low;
    if (raw != unknown && raw > high)
        raw = high;
    return (uint32_t)raw;
}

static inline uint32_t wire_clamp_u32(uint32_t raw, uint32_t low, uint32_t high, uint32_t unknown)
{
    if (raw != unknown && raw < low)
        raw = low;
    if (raw != unknown && raw > high)
        raw = high;
    return raw;
}

/* --- Text ------------------------------------------------------------------------------- */

/* How many bytes of text fit into size bytes: a UTF-8 character is sent whole or not at all.
   Of text without an end, no more than size + 1 bytes are looked at. */
static inline size_t wire_text_bytes(const char *text, size_t size)
{
    size_t count = 0;
    while (count < size && text[count] != '\0')
        count++;
    if (count == size)
        while (count > 0 && ((unsigned char)text[count] & 0xC0u) == 0x80u)
            count--;
    return count;
}

/* Copies text into a member, which has size + 1 bytes, and cuts what is too long. */
static inline void wire_set_text(char *member, size_t size, const char *text)
{
    const size_t count = wire_text_bytes(text, size);
    for (size_t i = 0; i <= size; i++)
        member[i] = i < count ? text[i] : '\0';
}

static inline void wire_put_text(uint8_t *at, size_t size, const char *text)
{
    const size_t count = wire_text_bytes(text, size);
    for (size_t i = 0; i < size; i++)
        at[i] = i < count ? (uint8_t)text[i] : 0u;
}

static inline void wire_get_text(char *member, size_t size, const uint8_t *at)
{
    size_t i = 0;
    for (; i < size && at[i] != 0u; i++)
        member[i] = (char)at[i];
    for (; i <= size; i++)
        member[i] = '\0';
}

/* --- Frames ----------------------------------------------------------------------------- */

/* CRC-16/IBM-3740: 0x29B1 for the nine bytes "123456789". */
static inline uint16_t wire_crc(const uint8_t *bytes, size_t count)
{
    uint16_t crc = 0xFFFFu;
    for (size_t i = 0; i < count; i++) {
        uint16_t x = (uint16_t)((crc >> 8) ^ bytes[i]);
        x = (uint16_t)(x ^ (x >> 4));
        crc = (uint16_t)((uint32_t)crc << 8 ^ (uint32_t)x << 12 ^ (uint32_t)x << 5 ^ x);
    }
    return crc;
}

/* Where the payload of a frame in the making begins: behind the code byte and the header. */
#define WIRE_PAYLOAD_AT (1u + WIRE_HEADER_BYTES)

/* Puts header, CRC, stuffing and delimiter around the payload in out + WIRE_PAYLOAD_AT and
   returns the bytes to send. */
static inline size_t wire_close(uint8_t kind, uint8_t vehicle, uint16_t sequence,
                                uint32_t clock_us, size_t payload_size, uint8_t *out)
{
    uint8_t *const body = out + 1;
    const size_t body_size = WIRE_HEADER_BYTES + payload_size;
    const size_t end = 1u + body_size + WIRE_CRC_BYTES;
    uint16_t crc;
    size_t code_at = 0;

    wire_put_8(body, kind);
    wire_put_8(body + 1, vehicle);
    wire_put_16(body + 2, sequence);
    wire_put_32(body + 4, clock_us);
    crc = wire_crc(body, body_size);
    wire_put_8(body + body_size, (uint32_t)crc >> 8); /* the only field with its high byte first */
    wire_put_8(body + body_size + 1, crc);

    /* COBS in place: each zero becomes the distance to the next one. */
    for (size_t i = 1; i < end; i++) {
        if (out[i] == 0u) {
            out[code_at] = (uint8_t)(i - code_at);
            code_at = i;
        }
    }
    out[code_at] = (uint8_t)(end - code_at);
    out[end] = 0u;
    return end + 1u;
}

/* Encodes a kind of your own (0x80 to 0xFE); returns 0 where the payload is too long. */
static inline size_t wire_encode(uint8_t kind, const uint8_t *payload, size_t payload_size,
                                 uint8_t vehicle, uint16_t sequence, uint32_t clock_us,
                                 uint8_t out[WIRE_MAX_FRAME])
{
    if (payload_size > WIRE_MAX_PAYLOAD)
        return 0;
    for (size_t i = 0; i < payload_size; i++)
        out[WIRE_PAYLOAD_AT + i] = payload[i];
    return wire_close(kind, vehicle, sequence, clock_us, payload_size, out);
}

/* A good frame. The payload lies in the decoder and is valid until its next byte is pushed. */
struct wire_frame {
    uint8_t kind;
    uint8_t vehicle;
    uint16_t sequence;
    uint32_t clock_us;
    size_t payload_size;
    const uint8_t *payload;
};
"""

DECODER = r"""
struct wire_decoder {
    uint8_t block[WIRE_MAX_FRAME - 1u];
    /* Bytes in the block; WIRE_MAX_FRAME says that it grew longer than a frame can be. */
    size_t size;
    /* Blocks that were no good frame, the first one after joining midway among them. */
    uint32_t rejected;
    struct wire_frame frame;
};

/* Also for a link that begins anew: the rest of an unfinished block is not coming. */
static inline void wire_decoder_start(struct wire_decoder *decoder)
{
    decoder->size = 0;
    decoder->rejected = 0;
}

/* Undoes COBS in place; returns the decoded size, 0 where it is no COBS block. */
static inline size_t wire_unstuff(uint8_t *block, size_t size)
{
    size_t from = 0;
    size_t to = 0;
    while (from < size) {
        const size_t next = from + block[from];
        if (next > size)
            return 0;
        for (from++; from < next; from++)
            block[to++] = block[from];
        if (next < size)
            block[to++] = 0u;
    }
    return to;
}

/* Takes one byte of the stream; returns the frame that it completes, or a null pointer. */
static inline const struct wire_frame *wire_decoder_push(struct wire_decoder *decoder,
                                                         uint8_t byte)
{
    struct wire_frame *const frame = &decoder->frame;
    const uint8_t *const body = decoder->block;
    size_t size = decoder->size;

    if (byte != 0u) {
        if (size < sizeof decoder->block)
            decoder->block[size] = byte;
        if (size < WIRE_MAX_FRAME)
            decoder->size = size + 1u;
        return NULL;
    }
    decoder->size = 0;
    if (size == 0)
        return NULL;
    size = size > sizeof decoder->block ? 0 : wire_unstuff(decoder->block, size);
    if (size < WIRE_HEADER_BYTES + WIRE_CRC_BYTES || wire_crc(body, size) != 0u) {
        decoder->rejected++;
        return NULL;
    }
    frame->kind = body[0];
    frame->vehicle = body[1];
    frame->sequence = (uint16_t)wire_get_16(body + 2);
    frame->clock_us = wire_get_32(body + 4);
    frame->payload = body + WIRE_HEADER_BYTES;
    frame->payload_size = size - WIRE_HEADER_BYTES - WIRE_CRC_BYTES;
    if (frame->payload_size < wire_smallest_payload(frame->kind)) {
        decoder->rejected++;
        return NULL;
    }
    return frame;
}
"""
