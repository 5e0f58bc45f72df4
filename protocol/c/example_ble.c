/* A car's telemetry over Bluetooth LE: the stream of bytes, cut into notifications.
 *
 * Portable: no library and no radio of its own; example_ble.h lists what it needs. A frame that
 * finds no room is dropped whole, and its number is missing at the ground, which tells of it. A cut
 * goes anywhere, also through a frame. What is there is sent at once: a notification that waited to
 * be filled would make the ground see the past. While the radio is busy the queue grows, and the
 * next notification is fuller by itself.
 */
#include "example_ble.h"

#include "example_car.h"

/* A power of two, so that the two counters may wrap; holds 120 ms of what the example sends. More
   would bridge longer pauses, and show the past for longer behind a radio that is too slow. */
#define QUEUE_BYTES 512u

/* A notification has one byte of opcode and two of handle before its value. */
#define ATT_HEADER_BYTES 3u
#define SMALLEST_ATT_MTU 23u
/* The largest value that still fits one packet of the link layer, at ATT_MTU 247. */
#define LARGEST_VALUE_BYTES 244u

static uint8_t queue[QUEUE_BYTES];
static uint32_t queued;
static uint32_t sent;
static bool linked;

bool board_write(const uint8_t *bytes, size_t count)
{
    if (!linked || count > QUEUE_BYTES - (queued - sent))
        return false;
    for (size_t i = 0; i < count; i++)
        queue[queued++ % QUEUE_BYTES] = bytes[i];
    return true;
}

/* Whatever was half sent belongs to a link that is gone. The delimiter ends it also for a
   receiver that does not know. */
void ble_link_began(void)
{
    static const uint8_t delimiter = 0;

    sent = queued;
    linked = true;
    (void)board_write(&delimiter, 1);
}

void ble_link_ended(void)
{
    linked = false;
}

static uint32_t value_bytes(void)
{
    const uint32_t mtu = radio_att_mtu();

    if (mtu < SMALLEST_ATT_MTU)
        return SMALLEST_ATT_MTU - ATT_HEADER_BYTES;
    if (mtu - ATT_HEADER_BYTES > LARGEST_VALUE_BYTES)
        return LARGEST_VALUE_BYTES;
    return mtu - ATT_HEADER_BYTES;
}

void ble_send(void)
{
    while (linked && sent != queued) {
        uint8_t value[LARGEST_VALUE_BYTES];
        uint32_t count = queued - sent;

        if (count > value_bytes())
            count = value_bytes();
        for (uint32_t i = 0; i < count; i++)
            value[i] = queue[(sent + i) % QUEUE_BYTES];
        if (!radio_notify(value, count))
            return;
        sent += count;
    }
}
