/* Readings of an invented car that drives up and down an invented course; nothing is measured.
 *
 * Whole numbers only. Each pass: at rest, full throttle, coasting, braking, at rest; then the same
 * way back. The road has a joint every 25 m, felt for 4 ms, and one that is too much for the
 * accelerometer.
 */
#include "example_car.h"

/* Ends of the phases of a pass, in milliseconds. */
#define START_MS 3000
#define LIFT_MS 9000
#define BRAKE_MS 10000
#define PASS_MS 20000

#define THRUST_MG 720
#define DRAG_MG (-60)
#define BRAKING_MG (-650)
/* mm/s each millisecond are m/s^2, and 1000 mg are 9807 mm/s^2. */
#define MM_PER_S2_PER_G 9807

#define JOINT_SPACING_MM 25000
#define BAD_JOINT 6
#define JOINT_MS 4

/* In the open sea: no place where a car ever was. */
#define LATITUDE_X10000000 450000000
#define LONGITUDE_X10000000 (-300000000)
/* One count of latitude is 11.1 mm. */
#define NORTH_UM_PER_COUNT 11113

#define ANTENNA_MM 10000

static struct {
    int32_t in_pass_ms;
    bool returning;
    int32_t speed_um_per_s;
    /* From the start of this pass. */
    int32_t run_um;
    /* Of the whole course, so that the car returns to where it started. */
    int32_t course_um;
    int32_t joint;
    int32_t joint_ms;
    int32_t accel_x_mg;
    uint32_t noise;
} car;

/* -half to +half, evenly: the high bits of a linear congruential generator. */
static int32_t noise(int32_t half)
{
    car.noise = car.noise * 1664525u + 1013904223u;
    return (int32_t)(car.noise >> 16) % (2 * half + 1) - half;
}

static int32_t speed_mm_per_s(void)
{
    return car.speed_um_per_s / 1000;
}

static bool is_braking(void)
{
    return car.in_pass_ms >= BRAKE_MS && car.speed_um_per_s > 0;
}

static bool is_full_throttle(void)
{
    return car.in_pass_ms >= START_MS && car.in_pass_ms < LIFT_MS;
}

/* How far the car is from the start of the course. */
static int32_t distance_um(void)
{
    return car.returning ? car.course_um - car.run_um : car.run_um;
}

static void drive_one_millisecond(void)
{
    int32_t accel_mg = 0;

    if (is_full_throttle())
        accel_mg = THRUST_MG;
    else if (is_braking())
        accel_mg = BRAKING_MG;
    else if (car.speed_um_per_s > 0)
        accel_mg = DRAG_MG;
    car.accel_x_mg = accel_mg;
    car.speed_um_per_s += accel_mg * MM_PER_S2_PER_G / 1000;
    if (car.speed_um_per_s < 0)
        car.speed_um_per_s = 0;
    car.run_um += speed_mm_per_s();

    if (++car.in_pass_ms < PASS_MS)
        return;
    if (!car.returning)
        car.course_um = car.run_um;
    car.returning = !car.returning;
    car.in_pass_ms = 0;
    car.run_um = 0;
    car.joint = 0;
}

/* Up over the edge of a joint, then down behind it. */
static int32_t joint_mg(void)
{
    const int32_t joint = distance_um() / 1000 / JOINT_SPACING_MM;
    const int32_t up_mg = joint == BAD_JOINT ? 24000 : 200 * (speed_mm_per_s() / 1000);

    if (joint != car.joint) {
        car.joint = joint;
        car.joint_ms = JOINT_MS;
    }
    if (car.joint_ms == 0)
        return 0;
    car.joint_ms--;
    return car.joint_ms >= JOINT_MS / 2 ? up_mg : -up_mg / 2;
}

static int32_t at_full_scale(int32_t accel_mg)
{
    if (accel_mg > ACCEL_FULL_SCALE_MG)
        return ACCEL_FULL_SCALE_MG;
    if (accel_mg < -ACCEL_FULL_SCALE_MG)
        return -ACCEL_FULL_SCALE_MG;
    return accel_mg;
}

/* The car weaves twice a second, more the faster it goes: a triangle between -250 and 250. */
static int32_t weave(void)
{
    const int32_t phase = car.in_pass_ms % 500;
    const int32_t rising = phase < 250 ? phase : 500 - phase;
    return 2 * rising - 250;
}

static int32_t yaw_rate_mdps(void)
{
    return weave() * (speed_mm_per_s() / 1000) / 2;
}

/* Speed times yaw rate. A radian has 57 degrees: mm/s * mdeg/s / 57000 is mm/s^2. */
static int32_t sideways_mg(void)
{
    const int32_t mm_per_s2 = speed_mm_per_s() / 57 * (yaw_rate_mdps() / 10) / 100;
    return mm_per_s2 * 1000 / MM_PER_S2_PER_G;
}

void sensors_read_inertial(struct inertial *inertial)
{
    drive_one_millisecond();
    inertial->yaw_rate_mdps = yaw_rate_mdps() + noise(150);
    inertial->accel_x_mg = car.accel_x_mg + noise(20);
    inertial->accel_y_mg = sideways_mg() + noise(20);
    inertial->accel_z_mg =
        at_full_scale(1000 + joint_mg() + noise(20 + speed_mm_per_s() / 200));
}

void sensors_read_controls(struct wire_motion *motion)
{
    motion->speed_mps_x100 = speed_mm_per_s() / 10;
    motion->steering_percent_x100 = 0;
    motion->correction_percent_x100 = -yaw_rate_mdps() / 20;
    motion->throttle_percent = is_full_throttle() ? 100 : is_braking() ? -60 : 0;
    motion->flags = WIRE_MOTION_FLAGS_STABILISER_ON;
    if (is_braking())
        motion->flags |= WIRE_MOTION_FLAGS_BRAKE_ON;
}

void sensors_read_fix(struct wire_fix *fix)
{
    fix->latitude_deg_x10000000 = LATITUDE_X10000000 + distance_um() / NORTH_UM_PER_COUNT;
    fix->longitude_deg_x10000000 = LONGITUDE_X10000000;
    fix->ground_speed_mps_x100 = speed_mm_per_s() / 10;
    /* A satellite receiver knows the course of what moves. */
    if (speed_mm_per_s() > 500)
        fix->course_deg_x100 = car.returning ? 18000 : 0;
    fix->speed_accuracy_mps_x100 = 8;
    fix->horizontal_accuracy_m_x100 = 90;
    fix->satellites = 17;
    fix->fix_type = 3;
}

/* 256 times the logarithm to base 2 of number / 256, for numbers from 256 up. */
static int32_t log2_x256(uint32_t number)
{
    int32_t whole = 0;

    while (number >= 512) {
        number >>= 1;
        whole++;
    }
    return 256 * whole + (int32_t)number - 256;
}

void sensors_read_radio(struct wire_radio *radio)
{
    /* Antennas near the ground: 12 dB less each time the distance doubles. */
    const uint32_t ratio_x256 = 256u + (uint32_t)(distance_um() / 1000) * 256u / ANTENNA_MM;
    const int32_t rssi_dbm_x10 = -300 - 120 * log2_x256(ratio_x256) / 256 + 10 * noise(2);

    radio->control_rssi_dbm_x10 = rssi_dbm_x10;
    radio->control_snr_db_x10 = rssi_dbm_x10 + 1110 > 120 ? 120 : rssi_dbm_x10 + 1110;
    radio->control_received_percent = rssi_dbm_x10 < -1000 ? 90 : 100;
    radio->antenna = noise(1) > 0 ? 1 : 0;
    radio->failsafe_count = 0;
}

void sensors_read_power(struct wire_power *power)
{
    power->pack_voltage_v_x100 = is_full_throttle() ? 1540 + noise(5) : 1660;
    power->pack_current_a_x10 = is_full_throttle() ? 900 + noise(20) : is_braking() ? -150 : 4;
    power->controller_temperature_c_x10 = 300 + speed_mm_per_s() / 200;
}
