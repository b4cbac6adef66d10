/* A load cell on a serial line: reads a two-wire 24-bit converter and prints time, counts and status.
 *
 * For boards with an ATmega328P at 16 MHz. Each conversion gives one line, nothing else does:
 *
 *     10250,84213,ok          milliseconds since the start, counts, status
 *     10262,84207,settling    one of the first four conversions of a converter that has just been started
 *     10275,8388607,saturated the end of the converter's range, up or down: no measurement
 *     11275,,no response      no conversion for a second: wires, power
 *     12275,,wiring fault     the data wire lies at ground, or the clock does not reach the converter
 *
 * It does not tare, scale, average or filter: what was done to a number before it was recorded cannot be undone.
 *
 * The one rule here: a clock pulse longer than 60 us switches the converter off, in the middle of a read. Interrupts
 * are therefore on only while the processor sleeps, and never while it clocks the converter.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <util/delay.h>

#define BAUD 57600 /* 0.8 % off at 16 MHz; 115200 would be 2.1 % off */
#include <util/setbaud.h>

#ifndef SERIAL_NUMBER
#define SERIAL_NUMBER "not set"
#endif

#define DATA_PIN PD4 /* digital pin 4 on most boards */
#define DATA_PIN_CHANGE PCINT20
#define CLOCK_PIN PD5 /* digital pin 5 on most boards */

#define PULSES 25 /* 24 bits and one more: the next conversion is of input A at gain 128 */
#define SETTLE 4  /* conversions until the converter's own filter has settled */
#define WAIT_MS 1000
#define FULL_SCALE 8388607L

static volatile uint32_t milliseconds;

ISR(TIMER1_COMPA_vect) { milliseconds++; }

ISR(USART_UDRE_vect) { UCSR0B &= ~(1 << UDRIE0); }

EMPTY_INTERRUPT(PCINT2_vect)

/* Sleep until something happens. An interrupt that is due already wakes at once: sei() takes effect one
 * instruction late, so nothing can slip in between. */
static void nap(void)
{
    sei();
    sleep_cpu();
    cli();
}

static void put_sign(char sign)
{
    while (!(UCSR0A & (1 << UDRE0))) {
        UCSR0B |= 1 << UDRIE0;
        nap();
    }
    UDR0 = sign;
}

static void put_text(const char *text)
{
    while (*text)
        put_sign(*text++);
}

/* One line; `counts` is empty where there is none. */
static void put_line(uint32_t at, const char *counts, const char *status)
{
    char digits[11];
    put_text(ultoa(at, digits, 10));
    put_sign(',');
    put_text(counts);
    put_sign(',');
    put_text(status);
    put_text("\r\n");
}

static const char *cause(uint8_t flags)
{
    if (flags & (1 << PORF))
        return "power";
    if (flags & (1 << EXTRF))
        return "reset button or opened port";
    if (flags & (1 << BORF))
        return "brown-out";
    return "boot loader"; /* many of them clear the flags */
}

static void put_banner(uint8_t reset_flags)
{
    put_text("# bandcurve load cell, firmware 1\r\n# serial number: " SERIAL_NUMBER "\r\n# started by: ");
    put_text(cause(reset_flags));
    put_text("\r\n# ms,counts,status\r\n");
}

static void set_up(void)
{
    DDRD = 1 << CLOCK_PIN;
    PORTD = 1 << DATA_PIN; /* pulled up: a broken wire reads as "no conversion yet" */
    PCICR = 1 << PCIE2;
    PCMSK2 = 1 << DATA_PIN_CHANGE;

    TCCR1B = (1 << WGM12) | (1 << CS11) | (1 << CS10); /* clear on match, clock / 64 */
    OCR1A = F_CPU / 64 / 1000 - 1;
    TIMSK1 = 1 << OCIE1A;

#if USE_2X
    UCSR0A = 1 << U2X0;
#endif
    UBRR0 = UBRR_VALUE;
    UCSR0B = 1 << TXEN0;
    UCSR0C = (1 << UCSZ01) | (1 << UCSZ00); /* 8 bits, no parity, 1 stop bit */

    set_sleep_mode(SLEEP_MODE_IDLE);
    sleep_enable();
}

/* Switch the converter off and on: it may be in the middle of a read that a reset broke off. */
static void restart_converter(void)
{
    PORTD |= 1 << CLOCK_PIN;
    _delay_us(100);
    PORTD &= ~(1 << CLOCK_PIN);
}

static bool data_is_high(void) { return PIND & (1 << DATA_PIN); }

/* Wait until the data wire falls; false when it does not within a second. */
static bool conversion_comes(void)
{
    uint32_t since = milliseconds;
    while (data_is_high()) {
        if (milliseconds - since >= WAIT_MS)
            return false;
        nap();
    }
    return true;
}

/* Clock 24 bits in, highest first, and choose the next input with the pulses behind them. */
static int32_t read_counts(void)
{
    uint32_t bits = 0;
    for (uint8_t pulse = 0; pulse < PULSES; pulse++) {
        PORTD |= 1 << CLOCK_PIN;
        _delay_us(1); /* the bit stands 0.1 us after the edge */
        if (pulse < 24)
            bits = bits << 1 | data_is_high();
        PORTD &= ~(1 << CLOCK_PIN);
        _delay_us(1);
    }
    return bits & 0x800000 ? (int32_t)(bits | 0xFF000000) : (int32_t)bits;
}

static void wait_a_second(void)
{
    uint32_t since = milliseconds;
    while (milliseconds - since < WAIT_MS)
        nap();
}

int main(void)
{
    uint8_t reset_flags = MCUSR;
    MCUSR = 0;
    set_up();
    put_banner(reset_flags);
    restart_converter();
    uint8_t settling = SETTLE;
    for (;;) {
        bool came = conversion_comes();
        uint32_t at = milliseconds;
        int32_t counts = came ? read_counts() : 0;
        if (!came || !data_is_high()) { /* a converter that was read takes its data wire up */
            put_line(at, "", came ? "wiring fault" : "no response");
            if (came)
                wait_a_second();
            restart_converter();
            settling = SETTLE;
            continue;
        }
        bool full = counts >= FULL_SCALE || counts <= -FULL_SCALE - 1;
        char digits[12];
        put_line(at, ltoa(counts, digits, 10), full ? "saturated" : settling ? "settling" : "ok");
        if (settling)
            settling--;
    }
}
