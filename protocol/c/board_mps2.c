/* The example on an ARM Cortex-M3 board that QEMU emulates (mps2-an385): start-up, clock, port.
 *
 *     arm-none-eabi-gcc -mcpu=cortex-m3 -mthumb -std=c99 -O2 -ffreestanding -nostdlib \
 *         -fno-tree-loop-distribute-patterns -T mps2.ld \
 *         example_car.c invented_sensors.c board_mps2.c -o car.elf
 *     qemu-system-arm -M mps2-an385 -kernel car.elf -display none -monitor none -serial pty
 *
 * QEMU prints the pseudo-terminal that carries the frames.
 */
#include "example_car.h"

#define CORE_HZ 25000000u
#define TICKS_PER_US (CORE_HZ / 1000000u)
#define TICKS_PER_MS (CORE_HZ / 1000u)

/* The core's own timer. */
#define SYSTICK_CONTROL (*(volatile uint32_t *)0xE000E010u)
#define SYSTICK_RELOAD (*(volatile uint32_t *)0xE000E014u)
#define SYSTICK_VALUE (*(volatile uint32_t *)0xE000E018u)
#define SYSTICK_RUN_WITH_INTERRUPT 7u

/* The first serial port. */
#define UART_DATA (*(volatile uint32_t *)0x40004000u)
#define UART_STATE (*(volatile uint32_t *)0x40004004u)
#define UART_CONTROL (*(volatile uint32_t *)0x40004008u)
#define UART_DIVIDER (*(volatile uint32_t *)0x40004010u)
#define UART_TRANSMIT_FULL 1u
#define UART_TRANSMIT_ENABLE 1u
#define BAUD 115200u

/* A power of two, so that the two counters may wrap; holds 40 ms of the line. */
#define QUEUE_BYTES 512u

static uint8_t queue[QUEUE_BYTES];
static uint32_t queued;
static uint32_t sent;
static volatile uint32_t ticks_ms;

bool board_write(const uint8_t *bytes, size_t count)
{
    if (count > QUEUE_BYTES - (queued - sent))
        return false;
    for (size_t i = 0; i < count; i++)
        queue[queued++ % QUEUE_BYTES] = bytes[i];
    return true;
}

static void feed_port(void)
{
    while (sent != queued && (UART_STATE & UART_TRANSMIT_FULL) == 0)
        UART_DATA = queue[sent++ % QUEUE_BYTES];
}

/* Wraps at 2^32, as the wire asks: the milliseconds do too. */
static uint32_t micros(void)
{
    uint32_t ms;
    uint32_t left;

    do {
        ms = ticks_ms;
        left = SYSTICK_VALUE;
    } while (ms != ticks_ms);
    return ms * 1000u + (TICKS_PER_MS - 1u - left) / TICKS_PER_US;
}

/* Sleeps until the next interrupt, unless it came since ticks_ms was last looked at. */
static void sleep_until_tick(uint32_t done_ms)
{
    __asm__ volatile("cpsid i" ::: "memory");
    if (ticks_ms == done_ms)
        __asm__ volatile("wfi" ::: "memory");
    __asm__ volatile("cpsie i" ::: "memory");
}

static void run(void)
{
    uint32_t done_ms = 0;

    UART_DIVIDER = CORE_HZ / BAUD;
    UART_CONTROL = UART_TRANSMIT_ENABLE;
    SYSTICK_RELOAD = TICKS_PER_MS - 1u;
    SYSTICK_VALUE = 0;
    SYSTICK_CONTROL = SYSTICK_RUN_WITH_INTERRUPT;
    car_start();
    for (;;) {
        feed_port();
        if (done_ms == ticks_ms) {
            if (sent == queued)
                sleep_until_tick(done_ms);
            continue;
        }
        done_ms++;
        car_every_millisecond(micros());
    }
}

/* --- Start-up --------------------------------------------------------------------------- */

/* From the linker script. */
extern uint32_t stack_top[];
extern uint32_t data_in_flash[];
extern uint32_t data_begin[];
extern uint32_t data_end[];
extern uint32_t bss_begin[];
extern uint32_t bss_end[];

void reset(void);

void reset(void)
{
    const uint32_t *from = data_in_flash;

    for (uint32_t *to = data_begin; to < data_end; to++)
        *to = *from++;
    for (uint32_t *to = bss_begin; to < bss_end; to++)
        *to = 0;
    run();
}

static void stop(void)
{
    for (;;) {
    }
}

static void tick(void)
{
    ticks_ms++;
}

struct vectors {
    uint32_t *stack;
    void (*handlers[15])(void);
};

/* The core reads its stack, its first instruction and its interrupts here. */
__attribute__((section(".vectors"), used)) static const struct vectors vectors = {
    stack_top,
    {reset, stop, stop, stop, stop, stop, 0, 0, 0, 0, stop, stop, 0, stop, tick},
};
