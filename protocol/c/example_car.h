/* What the example's portable part asks of a board and of its sensors, and what it offers them.
 *
 *     example_car.c       portable: what is sent when, the peaks held at 1 kHz; keep it
 *     car_wire.h              portable: the encoder, generated
 *     invented_sensors.c  invented readings; put your drivers in its place
 *     board_mps2.c        start-up, clock and serial port of one board; put your own in its place
 *     board_host.c        the same for a PC: writes the frames to its output
 *     example_ble.c       in place of a serial port: Bluetooth LE (see example_ble.h)
 */
#ifndef EXAMPLE_CAR_H
#define EXAMPLE_CAR_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "car_wire.h"

/* --- Offered: a board calls these ------------------------------------------------------- */

/* Once, before the first millisecond. */
void car_start(void);

/* Once a millisecond. clock_us is the board's clock now: microseconds, wrapping at 2^32. */
void car_every_millisecond(uint32_t clock_us);

/* --- Asked of the board ----------------------------------------------------------------- */

/* Queues bytes for the serial port and does not wait; takes all of them or, where there is no
   room, none and returns false. */
bool board_write(const uint8_t *bytes, size_t count);

/* --- Asked of the sensors --------------------------------------------------------------- */

/* What is read a thousand times a second. */
struct inertial {
    int32_t accel_x_mg;
    int32_t accel_y_mg;
    int32_t accel_z_mg;
    int32_t yaw_rate_mdps;
};

/* The most that the accelerometer can read, either way. */
#define ACCEL_FULL_SCALE_MG 16000
#define GYRO_FULL_SCALE_DPS 2000

void sensors_read_inertial(struct inertial *inertial);

/* Each fills in what it has measured and leaves the rest at unknown. */
void sensors_read_controls(struct wire_motion *motion);
void sensors_read_fix(struct wire_fix *fix);
void sensors_read_radio(struct wire_radio *radio);
void sensors_read_power(struct wire_power *power);

#endif
