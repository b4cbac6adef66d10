/* The board of an ATmega328P at 16 MHz with nothing but avr-libc: pins, clock, serial line, watchdog. What is printed,
 * and why, stands in load_cell/cell_line.h.
 *
 * The one rule here: a clock pulse longer than 60 us switches the converter off, in the middle of a read. Interrupts
 * are therefore on only while the processor sleeps, and never while it clocks the converter.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <stdint.h>
#include <util/delay.h>

#include "cell_line.h"

#define BAUD 57600 /* 0.8 % off at 16 MHz; 115200 would be 2.1 % off */
#include <util/setbaud.h>

#ifndef SERIAL_NUMBER
#define SERIAL_NUMBER "not set"
#endif

#define DATA_PIN PD4 /* digital pin 4 on most boards */
#define DATA_PIN_CHANGE PCINT20
#define CLOCK_PIN PD5 /* digital pin 5 on most boards */

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

static const char *cause(uint8_t flags)
{
    if (flags & (1 << PORF))
        return "power";
    if (flags & (1 << EXTRF))
        return "reset button or opened port";
    if (flags & (1 << BORF))
        return "brown-out";
    if (flags & (1 << WDRF))
        return "watchdog";
    return "boot loader"; /* many of them clear the flags */
}

static void put_banner(uint8_t reset_flags)
{
    put_text(CELL_BANNER "# serial number: " SERIAL_NUMBER "\r\n# started by: ");
    put_text(cause(reset_flags));
    put_text("\r\n" CELL_COLUMNS);
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

/* Off and on: the converter may be in the middle of a read that a reset broke off. */
static void converter_off(void)
{
    PORTD |= 1 << CLOCK_PIN;
    _delay_us(100);
}

static void converter_on(void) { PORTD &= ~(1 << CLOCK_PIN); }

static bool data_is_high(void) { return PIND & (1 << DATA_PIN); }

/* Wait until the data wire falls; false when it does not within a second. */
static bool conversion_comes(void)
{
    uint32_t since = milliseconds;
    while (data_is_high()) {
        if (milliseconds - since >= CELL_WAIT_MS)
            return false;
        nap();
    }
    return true;
}

/* Clock 24 bits in, highest first, and choose the next input with the pulses behind them. */
static int32_t read_counts(void)
{
    uint32_t bits = 0;
    for (uint8_t pulse = 0; pulse < CELL_PULSES; pulse++) {
        PORTD |= 1 << CLOCK_PIN;
        _delay_us(1); /* the bit stands 0.1 us after the edge */
        if (pulse < 24)
            bits = bits << 1 | data_is_high();
        PORTD &= ~(1 << CLOCK_PIN);
        _delay_us(1);
    }
    return cell_counts(bits);
}

static void wait_a_second(void)
{
    uint32_t since = milliseconds;
    while (milliseconds - since < CELL_WAIT_MS)
        nap();
}

int main(void)
{
    uint8_t reset_flags = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_4S); /* a board that hangs for four seconds starts again, and says so */
    set_up();
    converter_off(); /* nothing is converted that nobody reads while the banner goes out */
    put_banner(reset_flags);
    converter_on();
    struct cell_line cell = {0};
    cell_restarted(&cell);
    for (;;) {
        wdt_reset();
        bool came = conversion_comes();
        uint32_t at = milliseconds;
        int32_t counts = came ? read_counts() : 0;
        /* a converter that was read takes its data wire up */
        enum cell_answer answer = !came ? CELL_SILENT : data_is_high() ? CELL_CAME : CELL_STUCK;
        char line[CELL_LINE_SIZE];
        cell_write(&cell, at, answer, counts, line);
        put_text(line);
        if (answer == CELL_CAME)
            continue;
        if (answer == CELL_STUCK)
            wait_a_second();
        converter_off();
        converter_on();
    }
}
