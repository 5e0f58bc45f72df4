/* The wire between the car and the ground station, for firmware.
 *
 * Generated from protocol/frames.toml by `python -m protocol.generate`: do not edit.
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

#define WIRE_VERSION 1u
#define WIRE_HEADER_BYTES 8u
#define WIRE_CRC_BYTES 2u
/* Header, payload and CRC together. */
#define WIRE_MAX_DECODED 64u
#define WIRE_MAX_PAYLOAD 54u
/* On the wire: one COBS code byte before, the delimiter behind. */
#define WIRE_MAX_FRAME 66u

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

/* --- motion ------------------------------------------------------------------------- */

/* What the car does: wheel speed, yaw rate, acceleration, controls. */

#define WIRE_MOTION 0x01u
#define WIRE_MOTION_BYTES 21u
#define WIRE_MOTION_SPEED_MPS_UNKNOWN INT32_C(65535)
#define WIRE_MOTION_YAW_RATE_DPS_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_ACCEL_X_G_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_ACCEL_Y_G_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_ACCEL_Z_G_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_ACCEL_Z_MAX_G_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_ACCEL_Z_MIN_G_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_CLIPPED_SAMPLES_UNKNOWN INT32_C(255)
#define WIRE_MOTION_STEERING_PERCENT_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_CORRECTION_PERCENT_UNKNOWN (-INT32_C(32768))
#define WIRE_MOTION_THROTTLE_PERCENT_UNKNOWN (-INT32_C(128))
#define WIRE_MOTION_FLAGS_UNKNOWN INT32_C(255)
#define WIRE_MOTION_FLAGS_FAILSAFE_ACTIVE INT32_C(1)
#define WIRE_MOTION_FLAGS_STABILISER_ON INT32_C(2)
#define WIRE_MOTION_FLAGS_BRAKE_ON INT32_C(4)
#define WIRE_MOTION_FLAGS_SENSOR_CLIPPED INT32_C(8)

struct wire_motion {
    /* Speed from the wheel or the motor. 0 to 65500 (0 to 655 m/s). */
    int32_t speed_mps_x100;
    /* Positive to the left (ISO 8855). -32760 to 32760 (-3276 to 3276 deg/s). */
    int32_t yaw_rate_dps_x10;
    /* Specific force forward; braking is negative. -32700 to 32700 (-32.7 to 32.7 g). */
    int32_t accel_x_g_x1000;
    /* Specific force to the left; positive in a left turn. -32700 to 32700 (-32.7 to 32.7
       g). */
    int32_t accel_y_g_x1000;
    /* Specific force upward; +1 at rest. -32700 to 32700 (-32.7 to 32.7 g). */
    int32_t accel_z_g_x1000;
    /* Highest accel_z since the last motion frame, held on board at 1 kHz or more. -32700 to
       32700 (-327 to 327 g). */
    int32_t accel_z_max_g_x100;
    /* Lowest accel_z since the last motion frame, held on board at 1 kHz or more. -32700 to
       32700 (-327 to 327 g). */
    int32_t accel_z_min_g_x100;
    /* On-board accelerometer samples at full scale since the last motion frame; 254 means 254
       or more. 0 to 254. */
    int32_t clipped_samples;
    /* Steering command of the driver; positive to the left. -10000 to 10000 (-100 to 100 %). */
    int32_t steering_percent_x100;
    /* What the stabiliser adds to the steering command; positive to the left. -10000 to 10000
       (-100 to 100 %). */
    int32_t correction_percent_x100;
    /* Throttle command; negative is braking or reverse. -100 to 100 %. */
    int32_t throttle_percent;
    /* One bit each; bits without a name are sent as 0 and ignored. 0 to 127. */
    int32_t flags;
};

/* Sets every member to unknown. */
static inline void wire_clear_motion(struct wire_motion *motion)
{
    motion->speed_mps_x100 = WIRE_MOTION_SPEED_MPS_UNKNOWN;
    motion->yaw_rate_dps_x10 = WIRE_MOTION_YAW_RATE_DPS_UNKNOWN;
    motion->accel_x_g_x1000 = WIRE_MOTION_ACCEL_X_G_UNKNOWN;
    motion->accel_y_g_x1000 = WIRE_MOTION_ACCEL_Y_G_UNKNOWN;
    motion->accel_z_g_x1000 = WIRE_MOTION_ACCEL_Z_G_UNKNOWN;
    motion->accel_z_max_g_x100 = WIRE_MOTION_ACCEL_Z_MAX_G_UNKNOWN;
    motion->accel_z_min_g_x100 = WIRE_MOTION_ACCEL_Z_MIN_G_UNKNOWN;
    motion->clipped_samples = WIRE_MOTION_CLIPPED_SAMPLES_UNKNOWN;
    motion->steering_percent_x100 = WIRE_MOTION_STEERING_PERCENT_UNKNOWN;
    motion->correction_percent_x100 = WIRE_MOTION_CORRECTION_PERCENT_UNKNOWN;
    motion->throttle_percent = WIRE_MOTION_THROTTLE_PERCENT_UNKNOWN;
    motion->flags = WIRE_MOTION_FLAGS_UNKNOWN;
}

/* Writes one frame to out and returns its size. */
static inline size_t wire_encode_motion(const struct wire_motion *motion, uint8_t vehicle,
                                        uint16_t sequence, uint32_t clock_us,
                                        uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t *const at = out + WIRE_PAYLOAD_AT;
    wire_put_16(at + 0,
        wire_clamp(motion->speed_mps_x100, INT32_C(0), INT32_C(65500),
            WIRE_MOTION_SPEED_MPS_UNKNOWN));
    wire_put_16(at + 2,
        wire_clamp(motion->yaw_rate_dps_x10, (-INT32_C(32760)), INT32_C(32760),
            WIRE_MOTION_YAW_RATE_DPS_UNKNOWN));
    wire_put_16(at + 4,
        wire_clamp(motion->accel_x_g_x1000, (-INT32_C(32700)), INT32_C(32700),
            WIRE_MOTION_ACCEL_X_G_UNKNOWN));
    wire_put_16(at + 6,
        wire_clamp(motion->accel_y_g_x1000, (-INT32_C(32700)), INT32_C(32700),
            WIRE_MOTION_ACCEL_Y_G_UNKNOWN));
    wire_put_16(at + 8,
        wire_clamp(motion->accel_z_g_x1000, (-INT32_C(32700)), INT32_C(32700),
            WIRE_MOTION_ACCEL_Z_G_UNKNOWN));
    wire_put_16(at + 10,
        wire_clamp(motion->accel_z_max_g_x100, (-INT32_C(32700)), INT32_C(32700),
            WIRE_MOTION_ACCEL_Z_MAX_G_UNKNOWN));
    wire_put_16(at + 12,
        wire_clamp(motion->accel_z_min_g_x100, (-INT32_C(32700)), INT32_C(32700),
            WIRE_MOTION_ACCEL_Z_MIN_G_UNKNOWN));
    wire_put_8(at + 14,
        wire_clamp(motion->clipped_samples, INT32_C(0), INT32_C(254),
            WIRE_MOTION_CLIPPED_SAMPLES_UNKNOWN));
    wire_put_16(at + 15,
        wire_clamp(motion->steering_percent_x100, (-INT32_C(10000)), INT32_C(10000),
            WIRE_MOTION_STEERING_PERCENT_UNKNOWN));
    wire_put_16(at + 17,
        wire_clamp(motion->correction_percent_x100, (-INT32_C(10000)), INT32_C(10000),
            WIRE_MOTION_CORRECTION_PERCENT_UNKNOWN));
    wire_put_8(at + 19,
        wire_clamp(motion->throttle_percent, (-INT32_C(100)), INT32_C(100),
            WIRE_MOTION_THROTTLE_PERCENT_UNKNOWN));
    wire_put_8(at + 20,
        wire_clamp(motion->flags, INT32_C(0), INT32_C(127),
            WIRE_MOTION_FLAGS_UNKNOWN));
    return wire_close(WIRE_MOTION, vehicle, sequence, clock_us, WIRE_MOTION_BYTES, out);
}

/* Reads a frame; returns false where it is of another kind. */
static inline bool wire_decode_motion(const struct wire_frame *frame,
                                      struct wire_motion *motion)
{
    const uint8_t *const at = frame->payload;
    if (frame->kind != WIRE_MOTION || frame->payload_size < WIRE_MOTION_BYTES)
        return false;
    motion->speed_mps_x100 = (int32_t)wire_get_16(at + 0);
    motion->yaw_rate_dps_x10 = wire_signed(wire_get_16(at + 2), UINT32_C(0x8000));
    motion->accel_x_g_x1000 = wire_signed(wire_get_16(at + 4), UINT32_C(0x8000));
    motion->accel_y_g_x1000 = wire_signed(wire_get_16(at + 6), UINT32_C(0x8000));
    motion->accel_z_g_x1000 = wire_signed(wire_get_16(at + 8), UINT32_C(0x8000));
    motion->accel_z_max_g_x100 = wire_signed(wire_get_16(at + 10), UINT32_C(0x8000));
    motion->accel_z_min_g_x100 = wire_signed(wire_get_16(at + 12), UINT32_C(0x8000));
    motion->clipped_samples = (int32_t)wire_get_8(at + 14);
    motion->steering_percent_x100 = wire_signed(wire_get_16(at + 15), UINT32_C(0x8000));
    motion->correction_percent_x100 = wire_signed(wire_get_16(at + 17), UINT32_C(0x8000));
    motion->throttle_percent = wire_signed(wire_get_8(at + 19), UINT32_C(0x80));
    motion->flags = (int32_t)wire_get_8(at + 20);
    return true;
}

/* --- fix ---------------------------------------------------------------------------- */

/* What the satellite receiver says. */

#define WIRE_FIX 0x02u
#define WIRE_FIX_BYTES 18u
#define WIRE_FIX_LATITUDE_DEG_UNKNOWN (-INT32_C(2147483647) - 1)
#define WIRE_FIX_LONGITUDE_DEG_UNKNOWN (-INT32_C(2147483647) - 1)
#define WIRE_FIX_GROUND_SPEED_MPS_UNKNOWN INT32_C(65535)
#define WIRE_FIX_COURSE_DEG_UNKNOWN INT32_C(65535)
#define WIRE_FIX_SPEED_ACCURACY_MPS_UNKNOWN INT32_C(65535)
#define WIRE_FIX_HORIZONTAL_ACCURACY_M_UNKNOWN INT32_C(65535)
#define WIRE_FIX_SATELLITES_UNKNOWN INT32_C(255)
#define WIRE_FIX_FIX_TYPE_UNKNOWN INT32_C(255)

struct wire_fix {
    /* WGS 84, north positive. -900000000 to 900000000 (-90 to 90 deg). */
    int32_t latitude_deg_x10000000;
    /* WGS 84, east positive. -1800000000 to 1800000000 (-180 to 180 deg). */
    int32_t longitude_deg_x10000000;
    /* Doppler speed over ground. 0 to 65500 (0 to 655 m/s). */
    int32_t ground_speed_mps_x100;
    /* Course over ground, clockwise from true north. 0 to 35999 (0 to 359.99 deg). */
    int32_t course_deg_x100;
    /* The receiver's own estimate of its speed error, one sigma. 0 to 65500 (0 to 655 m/s). */
    int32_t speed_accuracy_mps_x100;
    /* The receiver's own estimate of its position error, one sigma. 0 to 65500 (0 to 655 m). */
    int32_t horizontal_accuracy_m_x100;
    /* Satellites used in the fix. 0 to 254. */
    int32_t satellites;
    /* 0 none, 2 two-dimensional, 3 three-dimensional, 4 differential, 5 carrier phase. 0 to
       5. */
    int32_t fix_type;
};

/* Sets every member to unknown. */
static inline void wire_clear_fix(struct wire_fix *fix)
{
    fix->latitude_deg_x10000000 = WIRE_FIX_LATITUDE_DEG_UNKNOWN;
    fix->longitude_deg_x10000000 = WIRE_FIX_LONGITUDE_DEG_UNKNOWN;
    fix->ground_speed_mps_x100 = WIRE_FIX_GROUND_SPEED_MPS_UNKNOWN;
    fix->course_deg_x100 = WIRE_FIX_COURSE_DEG_UNKNOWN;
    fix->speed_accuracy_mps_x100 = WIRE_FIX_SPEED_ACCURACY_MPS_UNKNOWN;
    fix->horizontal_accuracy_m_x100 = WIRE_FIX_HORIZONTAL_ACCURACY_M_UNKNOWN;
    fix->satellites = WIRE_FIX_SATELLITES_UNKNOWN;
    fix->fix_type = WIRE_FIX_FIX_TYPE_UNKNOWN;
}

/* Writes one frame to out and returns its size. */
static inline size_t wire_encode_fix(const struct wire_fix *fix, uint8_t vehicle,
                                     uint16_t sequence, uint32_t clock_us,
                                     uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t *const at = out + WIRE_PAYLOAD_AT;
    wire_put_32(at + 0,
        wire_clamp(fix->latitude_deg_x10000000, (-INT32_C(900000000)), INT32_C(900000000),
            WIRE_FIX_LATITUDE_DEG_UNKNOWN));
    wire_put_32(at + 4,
        wire_clamp(fix->longitude_deg_x10000000, (-INT32_C(1800000000)), INT32_C(1800000000),
            WIRE_FIX_LONGITUDE_DEG_UNKNOWN));
    wire_put_16(at + 8,
        wire_clamp(fix->ground_speed_mps_x100, INT32_C(0), INT32_C(65500),
            WIRE_FIX_GROUND_SPEED_MPS_UNKNOWN));
    wire_put_16(at + 10,
        wire_clamp(fix->course_deg_x100, INT32_C(0), INT32_C(35999),
            WIRE_FIX_COURSE_DEG_UNKNOWN));
    wire_put_16(at + 12,
        wire_clamp(fix->speed_accuracy_mps_x100, INT32_C(0), INT32_C(65500),
            WIRE_FIX_SPEED_ACCURACY_MPS_UNKNOWN));
    wire_put_16(at + 14,
        wire_clamp(fix->horizontal_accuracy_m_x100, INT32_C(0), INT32_C(65500),
            WIRE_FIX_HORIZONTAL_ACCURACY_M_UNKNOWN));
    wire_put_8(at + 16,
        wire_clamp(fix->satellites, INT32_C(0), INT32_C(254),
            WIRE_FIX_SATELLITES_UNKNOWN));
    wire_put_8(at + 17,
        wire_clamp(fix->fix_type, INT32_C(0), INT32_C(5),
            WIRE_FIX_FIX_TYPE_UNKNOWN));
    return wire_close(WIRE_FIX, vehicle, sequence, clock_us, WIRE_FIX_BYTES, out);
}

/* Reads a frame; returns false where it is of another kind. */
static inline bool wire_decode_fix(const struct wire_frame *frame,
                                   struct wire_fix *fix)
{
    const uint8_t *const at = frame->payload;
    if (frame->kind != WIRE_FIX || frame->payload_size < WIRE_FIX_BYTES)
        return false;
    fix->latitude_deg_x10000000 = wire_signed(wire_get_32(at + 0), UINT32_C(0x80000000));
    fix->longitude_deg_x10000000 = wire_signed(wire_get_32(at + 4), UINT32_C(0x80000000));
    fix->ground_speed_mps_x100 = (int32_t)wire_get_16(at + 8);
    fix->course_deg_x100 = (int32_t)wire_get_16(at + 10);
    fix->speed_accuracy_mps_x100 = (int32_t)wire_get_16(at + 12);
    fix->horizontal_accuracy_m_x100 = (int32_t)wire_get_16(at + 14);
    fix->satellites = (int32_t)wire_get_8(at + 16);
    fix->fix_type = (int32_t)wire_get_8(at + 17);
    return true;
}

/* --- radio -------------------------------------------------------------------------- */

/* The control link (transmitter to car) as the car's receiver measures it. */

#define WIRE_RADIO 0x03u
#define WIRE_RADIO_BYTES 10u
#define WIRE_RADIO_CONTROL_RSSI_DBM_UNKNOWN (-INT32_C(32768))
#define WIRE_RADIO_CONTROL_SNR_DB_UNKNOWN (-INT32_C(32768))
#define WIRE_RADIO_CONTROL_RECEIVED_PERCENT_UNKNOWN INT32_C(255)
#define WIRE_RADIO_CONTROL_SIGNAL_RAW_UNKNOWN INT32_C(65535)
#define WIRE_RADIO_ANTENNA_UNKNOWN INT32_C(255)
#define WIRE_RADIO_FAILSAFE_COUNT_UNKNOWN INT32_C(65535)

struct wire_radio {
    /* Received signal strength. -2000 to 1000 (-200 to 100 dBm). */
    int32_t control_rssi_dbm_x10;
    /* Signal-to-noise ratio. -1000 to 1000 (-100 to 100 dB). */
    int32_t control_snr_db_x10;
    /* Control packets received of those expected. 0 to 100 %. */
    int32_t control_received_percent;
    /* Strength as a number without a unit, from receivers that report no dBm. 0 to 65534. */
    int32_t control_signal_raw;
    /* Antenna in use, counted from 0. 0 to 254. */
    int32_t antenna;
    /* Times failsafe has begun since the car was switched on. 0 to 65534. */
    int32_t failsafe_count;
};

/* Sets every member to unknown. */
static inline void wire_clear_radio(struct wire_radio *radio)
{
    radio->control_rssi_dbm_x10 = WIRE_RADIO_CONTROL_RSSI_DBM_UNKNOWN;
    radio->control_snr_db_x10 = WIRE_RADIO_CONTROL_SNR_DB_UNKNOWN;
    radio->control_received_percent = WIRE_RADIO_CONTROL_RECEIVED_PERCENT_UNKNOWN;
    radio->control_signal_raw = WIRE_RADIO_CONTROL_SIGNAL_RAW_UNKNOWN;
    radio->antenna = WIRE_RADIO_ANTENNA_UNKNOWN;
    radio->failsafe_count = WIRE_RADIO_FAILSAFE_COUNT_UNKNOWN;
}

/* Writes one frame to out and returns its size. */
static inline size_t wire_encode_radio(const struct wire_radio *radio, uint8_t vehicle,
                                       uint16_t sequence, uint32_t clock_us,
                                       uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t *const at = out + WIRE_PAYLOAD_AT;
    wire_put_16(at + 0,
        wire_clamp(radio->control_rssi_dbm_x10, (-INT32_C(2000)), INT32_C(1000),
            WIRE_RADIO_CONTROL_RSSI_DBM_UNKNOWN));
    wire_put_16(at + 2,
        wire_clamp(radio->control_snr_db_x10, (-INT32_C(1000)), INT32_C(1000),
            WIRE_RADIO_CONTROL_SNR_DB_UNKNOWN));
    wire_put_8(at + 4,
        wire_clamp(radio->control_received_percent, INT32_C(0), INT32_C(100),
            WIRE_RADIO_CONTROL_RECEIVED_PERCENT_UNKNOWN));
    wire_put_16(at + 5,
        wire_clamp(radio->control_signal_raw, INT32_C(0), INT32_C(65534),
            WIRE_RADIO_CONTROL_SIGNAL_RAW_UNKNOWN));
    wire_put_8(at + 7,
        wire_clamp(radio->antenna, INT32_C(0), INT32_C(254),
            WIRE_RADIO_ANTENNA_UNKNOWN));
    wire_put_16(at + 8,
        wire_clamp(radio->failsafe_count, INT32_C(0), INT32_C(65534),
            WIRE_RADIO_FAILSAFE_COUNT_UNKNOWN));
    return wire_close(WIRE_RADIO, vehicle, sequence, clock_us, WIRE_RADIO_BYTES, out);
}

/* Reads a frame; returns false where it is of another kind. */
static inline bool wire_decode_radio(const struct wire_frame *frame,
                                     struct wire_radio *radio)
{
    const uint8_t *const at = frame->payload;
    if (frame->kind != WIRE_RADIO || frame->payload_size < WIRE_RADIO_BYTES)
        return false;
    radio->control_rssi_dbm_x10 = wire_signed(wire_get_16(at + 0), UINT32_C(0x8000));
    radio->control_snr_db_x10 = wire_signed(wire_get_16(at + 2), UINT32_C(0x8000));
    radio->control_received_percent = (int32_t)wire_get_8(at + 4);
    radio->control_signal_raw = (int32_t)wire_get_16(at + 5);
    radio->antenna = (int32_t)wire_get_8(at + 7);
    radio->failsafe_count = (int32_t)wire_get_16(at + 8);
    return true;
}

/* --- power -------------------------------------------------------------------------- */

/* Pack and speed controller. */

#define WIRE_POWER 0x04u
#define WIRE_POWER_BYTES 6u
#define WIRE_POWER_PACK_VOLTAGE_V_UNKNOWN INT32_C(65535)
#define WIRE_POWER_PACK_CURRENT_A_UNKNOWN (-INT32_C(32768))
#define WIRE_POWER_CONTROLLER_TEMPERATURE_C_UNKNOWN (-INT32_C(32768))

struct wire_power {
    /* Voltage of the drive pack. 0 to 65500 (0 to 655 V). */
    int32_t pack_voltage_v_x100;
    /* Positive out of the pack. -32760 to 32760 (-3276 to 3276 A). */
    int32_t pack_current_a_x10;
    /* Temperature of the speed controller. -1000 to 3000 (-100 to 300 deg C). */
    int32_t controller_temperature_c_x10;
};

/* Sets every member to unknown. */
static inline void wire_clear_power(struct wire_power *power)
{
    power->pack_voltage_v_x100 = WIRE_POWER_PACK_VOLTAGE_V_UNKNOWN;
    power->pack_current_a_x10 = WIRE_POWER_PACK_CURRENT_A_UNKNOWN;
    power->controller_temperature_c_x10 = WIRE_POWER_CONTROLLER_TEMPERATURE_C_UNKNOWN;
}

/* Writes one frame to out and returns its size. */
static inline size_t wire_encode_power(const struct wire_power *power, uint8_t vehicle,
                                       uint16_t sequence, uint32_t clock_us,
                                       uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t *const at = out + WIRE_PAYLOAD_AT;
    wire_put_16(at + 0,
        wire_clamp(power->pack_voltage_v_x100, INT32_C(0), INT32_C(65500),
            WIRE_POWER_PACK_VOLTAGE_V_UNKNOWN));
    wire_put_16(at + 2,
        wire_clamp(power->pack_current_a_x10, (-INT32_C(32760)), INT32_C(32760),
            WIRE_POWER_PACK_CURRENT_A_UNKNOWN));
    wire_put_16(at + 4,
        wire_clamp(power->controller_temperature_c_x10, (-INT32_C(1000)), INT32_C(3000),
            WIRE_POWER_CONTROLLER_TEMPERATURE_C_UNKNOWN));
    return wire_close(WIRE_POWER, vehicle, sequence, clock_us, WIRE_POWER_BYTES, out);
}

/* Reads a frame; returns false where it is of another kind. */
static inline bool wire_decode_power(const struct wire_frame *frame,
                                     struct wire_power *power)
{
    const uint8_t *const at = frame->payload;
    if (frame->kind != WIRE_POWER || frame->payload_size < WIRE_POWER_BYTES)
        return false;
    power->pack_voltage_v_x100 = (int32_t)wire_get_16(at + 0);
    power->pack_current_a_x10 = wire_signed(wire_get_16(at + 2), UINT32_C(0x8000));
    power->controller_temperature_c_x10 = wire_signed(wire_get_16(at + 4), UINT32_C(0x8000));
    return true;
}

/* --- ident -------------------------------------------------------------------------- */

/* Who the car is and how its sensors and its radio are set. */

#define WIRE_IDENT 0x05u
#define WIRE_IDENT_BYTES 39u
#define WIRE_IDENT_VEHICLE_NAME_BYTES 16u
#define WIRE_IDENT_FIRMWARE_BYTES 12u
#define WIRE_IDENT_WIRE_VERSION_UNKNOWN INT32_C(255)
#define WIRE_IDENT_ACCEL_FULL_SCALE_G_UNKNOWN INT32_C(65535)
#define WIRE_IDENT_GYRO_FULL_SCALE_DPS_UNKNOWN INT32_C(65535)
#define WIRE_IDENT_CONTROL_SENSITIVITY_DBM_UNKNOWN (-INT32_C(32768))
#define WIRE_IDENT_CONTROL_TRANSMIT_POWER_DBM_UNKNOWN (-INT32_C(32768))
#define WIRE_IDENT_BOOT_COUNT_UNKNOWN INT32_C(65535)

struct wire_ident {
    /* Name of the vehicle. UTF-8, at most 16 bytes; empty says unknown. */
    char vehicle_name[16 + 1];
    /* Firmware name or version. UTF-8, at most 12 bytes; empty says unknown. */
    char firmware[12 + 1];
    /* Version of this table that the firmware was written with. 0 to 254. */
    int32_t wire_version;
    /* Full scale of the accelerometer. 0 to 65530 (0 to 6553 g). */
    int32_t accel_full_scale_g_x10;
    /* Full scale of the gyro. 0 to 65534 deg/s. */
    int32_t gyro_full_scale_dps;
    /* Level at which the control receiver stops working: the threshold of the link margin.
       -2000 to 1000 (-200 to 100 dBm). */
    int32_t control_sensitivity_dbm_x10;
    /* Power of the control transmitter. -1000 to 1000 (-100 to 100 dBm). */
    int32_t control_transmit_power_dbm_x10;
    /* Times the car has been switched on; tells a reboot from a silence. 0 to 65534. */
    int32_t boot_count;
};

/* Sets every member to unknown. */
static inline void wire_clear_ident(struct wire_ident *ident)
{
    wire_set_text(ident->vehicle_name, WIRE_IDENT_VEHICLE_NAME_BYTES, "");
    wire_set_text(ident->firmware, WIRE_IDENT_FIRMWARE_BYTES, "");
    ident->wire_version = WIRE_IDENT_WIRE_VERSION_UNKNOWN;
    ident->accel_full_scale_g_x10 = WIRE_IDENT_ACCEL_FULL_SCALE_G_UNKNOWN;
    ident->gyro_full_scale_dps = WIRE_IDENT_GYRO_FULL_SCALE_DPS_UNKNOWN;
    ident->control_sensitivity_dbm_x10 = WIRE_IDENT_CONTROL_SENSITIVITY_DBM_UNKNOWN;
    ident->control_transmit_power_dbm_x10 = WIRE_IDENT_CONTROL_TRANSMIT_POWER_DBM_UNKNOWN;
    ident->boot_count = WIRE_IDENT_BOOT_COUNT_UNKNOWN;
}

/* Writes one frame to out and returns its size. */
static inline size_t wire_encode_ident(const struct wire_ident *ident, uint8_t vehicle,
                                       uint16_t sequence, uint32_t clock_us,
                                       uint8_t out[WIRE_MAX_FRAME])
{
    uint8_t *const at = out + WIRE_PAYLOAD_AT;
    wire_put_text(at + 0, WIRE_IDENT_VEHICLE_NAME_BYTES, ident->vehicle_name);
    wire_put_text(at + 16, WIRE_IDENT_FIRMWARE_BYTES, ident->firmware);
    wire_put_8(at + 28,
        wire_clamp(ident->wire_version, INT32_C(0), INT32_C(254),
            WIRE_IDENT_WIRE_VERSION_UNKNOWN));
    wire_put_16(at + 29,
        wire_clamp(ident->accel_full_scale_g_x10, INT32_C(0), INT32_C(65530),
            WIRE_IDENT_ACCEL_FULL_SCALE_G_UNKNOWN));
    wire_put_16(at + 31,
        wire_clamp(ident->gyro_full_scale_dps, INT32_C(0), INT32_C(65534),
            WIRE_IDENT_GYRO_FULL_SCALE_DPS_UNKNOWN));
    wire_put_16(at + 33,
        wire_clamp(ident->control_sensitivity_dbm_x10, (-INT32_C(2000)), INT32_C(1000),
            WIRE_IDENT_CONTROL_SENSITIVITY_DBM_UNKNOWN));
    wire_put_16(at + 35,
        wire_clamp(ident->control_transmit_power_dbm_x10, (-INT32_C(1000)), INT32_C(1000),
            WIRE_IDENT_CONTROL_TRANSMIT_POWER_DBM_UNKNOWN));
    wire_put_16(at + 37,
        wire_clamp(ident->boot_count, INT32_C(0), INT32_C(65534),
            WIRE_IDENT_BOOT_COUNT_UNKNOWN));
    return wire_close(WIRE_IDENT, vehicle, sequence, clock_us, WIRE_IDENT_BYTES, out);
}

/* Reads a frame; returns false where it is of another kind. */
static inline bool wire_decode_ident(const struct wire_frame *frame,
                                     struct wire_ident *ident)
{
    const uint8_t *const at = frame->payload;
    if (frame->kind != WIRE_IDENT || frame->payload_size < WIRE_IDENT_BYTES)
        return false;
    wire_get_text(ident->vehicle_name, WIRE_IDENT_VEHICLE_NAME_BYTES, at + 0);
    wire_get_text(ident->firmware, WIRE_IDENT_FIRMWARE_BYTES, at + 16);
    ident->wire_version = (int32_t)wire_get_8(at + 28);
    ident->accel_full_scale_g_x10 = (int32_t)wire_get_16(at + 29);
    ident->gyro_full_scale_dps = (int32_t)wire_get_16(at + 31);
    ident->control_sensitivity_dbm_x10 = wire_signed(wire_get_16(at + 33), UINT32_C(0x8000));
    ident->control_transmit_power_dbm_x10 = wire_signed(wire_get_16(at + 35), UINT32_C(0x8000));
    ident->boot_count = (int32_t)wire_get_16(at + 37);
    return true;
}

/* --- Receiving ---------------------------------------------------------------------- */

/* The fewest payload bytes of a kind; a kind that is not known here has any number. */
static inline size_t wire_smallest_payload(uint8_t kind)
{
    switch (kind) {
    case WIRE_MOTION: return WIRE_MOTION_BYTES;
    case WIRE_FIX: return WIRE_FIX_BYTES;
    case WIRE_RADIO: return WIRE_RADIO_BYTES;
    case WIRE_POWER: return WIRE_POWER_BYTES;
    case WIRE_IDENT: return WIRE_IDENT_BYTES;
    default: return 0;
    }
}

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

#endif
