/* The line of a load cell: what a conversion means, and how it is written. No pin, clock or port is touched here, so
 * that every board shares it and a computer can try it.
 *
 *     10250,17,84213,ok*545E        milliseconds since the start, number of the line, counts, status, check
 *     10262,18,84207,settling*BC4B  one of the first conversions of a converter that has just been started
 *     10275,19,8388607,saturated*3AF9   the end of the converter's range, up or down: no measurement
 *     11275,20,,no response*D239    no conversion for a second: wires, power
 *     12275,21,,wiring fault*B9FD   the data wire lies at ground, or the clock does not reach the converter
 *
 * The check is CRC-16 (polynomial 0x1021, begun with 0xFFFF) of everything before the star, as four hexadecimal digits.
 */
#ifndef CELL_LINE_H
#define CELL_LINE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define CELL_PULSES 25    /* 24 bits and one more: the next conversion is of input A at gain 128 */
#define CELL_SETTLE 4     /* conversions until the converter's own filter has settled */
#define CELL_WAIT_MS 1000 /* without a conversion, until that is said */
#define CELL_LINE_SIZE 56 /* bytes of the longest line, with its end */

#define CELL_BANNER "# bandcurve load cell, firmware 2\r\n"
#define CELL_COLUMNS "# ms,sequence,counts,status*crc\r\n"

/* What happened when the board waited for a conversion. */
enum cell_answer { CELL_CAME, CELL_SILENT, CELL_STUCK };

/* One converter; all zero is a right beginning but for cell_restarted(). */
struct cell_line {
    uint32_t sequence; /* of the next line */
    uint8_t settling;  /* conversions that are still to settle */
};

/* The converter was switched off and on. */
void cell_restarted(struct cell_line *cell);

/* The 24 bits of a conversion as a number. */
int32_t cell_counts(uint32_t bits);

/* Write one line with its end and a zero behind it; gives its length without that. */
uint8_t cell_write(struct cell_line *cell, uint32_t at_ms, enum cell_answer answer, int32_t counts, char *out);

uint16_t cell_check(const char *text, uint8_t size);

#ifdef __cplusplus
}
#endif
#endif
