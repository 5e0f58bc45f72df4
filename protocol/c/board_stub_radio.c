/* The example over a radio that is none, on a PC: writes the notifications to a file.
 *
 *     cc -std=c99 example_car.c invented_sensors.c example_ble.c board_stub_radio.c -o car
 *     ./car notifications.bin 60000 23 4 15 5000
 *
 * Arguments: the file; how many milliseconds to drive; the ATT_MTU; how many notifications the
 * radio takes in each connection interval, and how long that is in milliseconds; how often the link
 * breaks, for half a second each time, in milliseconds (0: never).
 *
 * In the file each notification follows its length, two bytes, lowest first. A length of 0 says
 * that a link began.
 */
#include "example_ble.h"
#include "example_car.h"

#include <stdio.h>
#include <stdlib.h>

#define BREAK_MS 500ul

static FILE *file;
static unsigned long att_mtu = 247;
static unsigned long buffers = 4;
static unsigned long free_buffers;

static void put_length(size_t count)
{
    (void)fputc((int)(count & 0xFFu), file);
    (void)fputc((int)(count >> 8), file);
}

uint16_t radio_att_mtu(void)
{
    return (uint16_t)att_mtu;
}

bool radio_notify(const uint8_t *bytes, size_t count)
{
    if (free_buffers == 0)
        return false;
    free_buffers--;
    put_length(count);
    (void)fwrite(bytes, 1, count, file);
    return true;
}

static void begin_link(void)
{
    put_length(0);
    ble_link_began();
}

static unsigned long argument(int count, char **arguments, int place, unsigned long otherwise)
{
    return count > place ? strtoul(arguments[place], NULL, 10) : otherwise;
}

int main(int count, char **arguments)
{
    const unsigned long drive_ms = argument(count, arguments, 2, 60000);
    const unsigned long interval_ms = argument(count, arguments, 5, 15);
    const unsigned long breaks_ms = argument(count, arguments, 6, 0);

    att_mtu = argument(count, arguments, 3, att_mtu);
    buffers = argument(count, arguments, 4, buffers);
    file = count > 1 ? fopen(arguments[1], "wb") : NULL;
    if (file == NULL || interval_ms == 0) {
        fputs("car FILE [MILLISECONDS [ATT_MTU [NOTIFICATIONS [INTERVAL [BREAKS]]]]]\n", stderr);
        return EXIT_FAILURE;
    }
    car_start();
    begin_link();
    for (unsigned long ms = 0; ms < drive_ms; ms++) {
        if (breaks_ms > 0 && ms > 0 && ms % breaks_ms == 0)
            ble_link_ended();
        if (breaks_ms > 0 && ms > breaks_ms && ms % breaks_ms == BREAK_MS)
            begin_link();
        if (ms % interval_ms == 0)
            free_buffers = buffers;
        car_every_millisecond((uint32_t)(ms * 1000u));
        ble_send();
    }
    return ferror(file) == 0 && fclose(file) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
