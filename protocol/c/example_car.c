/* A car's telemetry, complete: what is sent when, and the peaks that are held on board.
 *
 * Portable: no library, no clock and no port of its own. Call car_start() once and
 * car_every_millisecond() a thousand times a second; example_car.h lists what it needs in return.
 */
#include "example_car.h"

#define VEHICLE 1u

/* Periods and first turns in milliseconds; the turns keep two kinds out of one millisecond. */
#define MOTION_MS 10u
#define FIX_MS 100u
#define FIX_FIRST_MS 3u
#define RADIO_MS 40u
#define RADIO_FIRST_MS 5u
#define POWER_MS 500u
#define POWER_FIRST_MS 7u
#define IDENT_MS 2000u
#define IDENT_FIRST_MS 1u

/* A reading this close to full scale may be anything beyond it. */
#define CLIPPED_MG (ACCEL_FULL_SCALE_MG / 1000 * 995)

/* What is gathered between two motion frames. */
struct held {
    int32_t highest_z_mg;
    int32_t lowest_z_mg;
    int32_t clipped;
};

static struct held held;
static uint32_t milliseconds;
static uint16_t sequence;

static bool is_clipped(int32_t accel_mg)
{
    return accel_mg >= CLIPPED_MG || accel_mg <= -CLIPPED_MG;
}

static int32_t divide_rounded(int32_t number, int32_t divisor)
{
    const int32_t half = number < 0 ? -divisor / 2 : divisor / 2;
    return (number + half) / divisor;
}

static void begin_hold(void)
{
    held.highest_z_mg = INT32_MIN;
    held.lowest_z_mg = INT32_MAX;
    held.clipped = 0;
}

static void hold(const struct inertial *now)
{
    if (now->accel_z_mg > held.highest_z_mg)
        held.highest_z_mg = now->accel_z_mg;
    if (now->accel_z_mg < held.lowest_z_mg)
        held.lowest_z_mg = now->accel_z_mg;
    if (is_clipped(now->accel_x_mg) || is_clipped(now->accel_y_mg) || is_clipped(now->accel_z_mg))
        held.clipped++;
}

/* The frame is counted whether it was sent or not: the gap tells the ground of a full port. */
static void send(const uint8_t *frame, size_t size)
{
    (void)board_write(frame, size);
    sequence++;
}

static void send_motion(const struct inertial *now, uint32_t clock_us)
{
    struct wire_motion motion;
    uint8_t frame[WIRE_MAX_FRAME];

    wire_clear_motion(&motion);
    sensors_read_controls(&motion);
    motion.yaw_rate_dps_x10 = divide_rounded(now->yaw_rate_mdps, 100);
    motion.accel_x_g_x1000 = now->accel_x_mg;
    motion.accel_y_g_x1000 = now->accel_y_mg;
    motion.accel_z_g_x1000 = now->accel_z_mg;
    motion.accel_z_max_g_x100 = divide_rounded(held.highest_z_mg, 10);
    motion.accel_z_min_g_x100 = divide_rounded(held.lowest_z_mg, 10);
    motion.clipped_samples = held.clipped;
    if (held.clipped > 0)
        motion.flags |= WIRE_MOTION_FLAGS_SENSOR_CLIPPED;
    begin_hold();
    send(frame, wire_encode_motion(&motion, VEHICLE, sequence, clock_us, frame));
}

static void send_fix(uint32_t clock_us)
{
    struct wire_fix fix;
    uint8_t frame[WIRE_MAX_FRAME];

    wire_clear_fix(&fix);
    sensors_read_fix(&fix);
    send(frame, wire_encode_fix(&fix, VEHICLE, sequence, clock_us, frame));
}

static void send_radio(uint32_t clock_us)
{
    struct wire_radio radio;
    uint8_t frame[WIRE_MAX_FRAME];

    wire_clear_radio(&radio);
    sensors_read_radio(&radio);
    send(frame, wire_encode_radio(&radio, VEHICLE, sequence, clock_us, frame));
}

static void send_power(uint32_t clock_us)
{
    struct wire_power power;
    uint8_t frame[WIRE_MAX_FRAME];

    wire_clear_power(&power);
    sensors_read_power(&power);
    send(frame, wire_encode_power(&power, VEHICLE, sequence, clock_us, frame));
}

/* Where the board can keep a number over a power cycle, send boot_count too. */
static void send_ident(uint32_t clock_us)
{
    struct wire_ident ident;
    uint8_t frame[WIRE_MAX_FRAME];

    wire_clear_ident(&ident);
    wire_set_text(ident.vehicle_name, WIRE_IDENT_VEHICLE_NAME_BYTES, "Example car");
    wire_set_text(ident.firmware, WIRE_IDENT_FIRMWARE_BYTES, "example 1");
    ident.wire_version = WIRE_VERSION;
    ident.accel_full_scale_g_x10 = ACCEL_FULL_SCALE_MG / 100;
    ident.gyro_full_scale_dps = GYRO_FULL_SCALE_DPS;
    ident.control_sensitivity_dbm_x10 = -1050;
    ident.control_transmit_power_dbm_x10 = 200;
    send(frame, wire_encode_ident(&ident, VEHICLE, sequence, clock_us, frame));
}

void car_start(void)
{
    static const uint8_t delimiter = 0;

    milliseconds = 0;
    sequence = 0;
    begin_hold();
    /* Ends whatever garbage the port gave off at switch-on. */
    (void)board_write(&delimiter, 1);
}

void car_every_millisecond(uint32_t clock_us)
{
    struct inertial now;

    sensors_read_inertial(&now);
    hold(&now);
    if (milliseconds % MOTION_MS == 0)
        send_motion(&now, clock_us);
    if (milliseconds % FIX_MS == FIX_FIRST_MS)
        send_fix(clock_us);
    if (milliseconds % RADIO_MS == RADIO_FIRST_MS)
        send_radio(clock_us);
    if (milliseconds % POWER_MS == POWER_FIRST_MS)
        send_power(clock_us);
    if (milliseconds % IDENT_MS == IDENT_FIRST_MS)
        send_ident(clock_us);
    milliseconds++;
}
