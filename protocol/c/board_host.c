/* The example on a PC: writes a minute of frames to a file, as fast as it can.
 *
 *     cc -std=c99 example_car.c invented_sensors.c board_host.c -o car
 *     ./car capture.bin 60000
 *
 * Arguments: the file, and how many milliseconds to drive. The capture holds the bytes as a serial
 * terminal would save them.
 */
#include "example_car.h"

#include <stdio.h>
#include <stdlib.h>

static FILE *capture;

bool board_write(const uint8_t *bytes, size_t count)
{
    return fwrite(bytes, 1, count, capture) == count;
}

int main(int count, char **arguments)
{
    const unsigned long drive_ms = count > 2 ? strtoul(arguments[2], NULL, 10) : 60000;

    capture = count > 1 ? fopen(arguments[1], "wb") : NULL;
    if (capture == NULL) {
        fputs("the file to write cannot be opened: car FILE [MILLISECONDS]\n", stderr);
        return EXIT_FAILURE;
    }
    car_start();
    for (unsigned long ms = 0; ms < drive_ms; ms++)
        car_every_millisecond((uint32_t)(ms * 1000u));
    return fclose(capture) == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
