/* The example over Bluetooth LE: what its portable part asks of a radio, and what it offers.
 *
 *     example_ble.c       portable: queues frames, cuts them into notifications; keep it
 *     board_stub_radio.c  a radio that writes its notifications to a file, for a PC; put the calls
 *                         of your radio's library in its place
 *
 * example_car.c stays as it is: its board_write is here. The radio offers one service with one
 * characteristic that notifies; the ground station looks for this pair unless told otherwise:
 *
 *     service         6e400001-b5a3-f393-e0a9-e50e24dcca9e
 *     characteristic  6e400003-b5a3-f393-e0a9-e50e24dcca9e
 *
 * All these functions are called from one task. A library that calls back from another one, or from
 * an interrupt, sets a flag there.
 */
#ifndef EXAMPLE_BLE_H
#define EXAMPLE_BLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* --- Offered: a board calls these ------------------------------------------------------- */

/* When the ground station has subscribed. */
void ble_link_began(void);

/* When it has gone, or no longer listens. */
void ble_link_ended(void);

/* Sends what is queued, as far as the radio takes it, and does not wait: after each millisecond of
   the car, and whenever the radio has room again. */
void ble_send(void);

/* --- Asked of the radio ----------------------------------------------------------------- */

/* The ATT_MTU that was agreed on for this link: 23 unless a larger one was. */
uint16_t radio_att_mtu(void);

/* Takes one notification of at most ATT_MTU - 3 bytes and does not wait; where no buffer is free,
   takes nothing and returns false. */
bool radio_notify(const uint8_t *bytes, size_t count);

#endif
