#include "cell_line.h"

#define FULL_SCALE 8388607L

static const char *const NO_NUMBER[] = {"", "no response", "wiring fault"};

void cell_restarted(struct cell_line *cell) { cell->settling = CELL_SETTLE; }

int32_t cell_counts(uint32_t bits)
{
    return bits & 0x800000 ? (int32_t)(bits & 0xFFFFFF) - 0x1000000 : (int32_t)(bits & 0xFFFFFF);
}

uint16_t cell_check(const char *text, uint8_t size)
{
    uint16_t crc = 0xFFFF;
    while (size--) {
        crc ^= (uint16_t)((uint8_t)*text++ << 8);
        for (uint8_t bit = 0; bit < 8; bit++)
            crc = crc & 0x8000 ? (uint16_t)(crc << 1) ^ 0x1021 : (uint16_t)(crc << 1);
    }
    return crc;
}

static char *put_text(char *out, const char *text)
{
    while (*text)
        *out++ = *text++;
    return out;
}

static char *put_number(char *out, uint32_t number)
{
    char digits[10];
    uint8_t n = 0;
    do
        digits[n++] = (char)('0' + number % 10);
    while (number /= 10);
    while (n)
        *out++ = digits[--n];
    return out;
}

static char *put_counts(char *out, int32_t counts)
{
    if (counts < 0)
        *out++ = '-';
    return put_number(out, counts < 0 ? 0 - (uint32_t)counts : (uint32_t)counts);
}

static char *put_check(char *out, uint16_t crc)
{
    for (int8_t shift = 12; shift >= 0; shift -= 4)
        *out++ = "0123456789ABCDEF"[crc >> shift & 0xF];
    return out;
}

static const char *status_of(const struct cell_line *cell, int32_t counts)
{
    if (counts >= FULL_SCALE || counts <= -FULL_SCALE - 1)
        return "saturated";
    return cell->settling ? "settling" : "ok";
}

uint8_t cell_write(struct cell_line *cell, uint32_t at_ms, enum cell_answer answer, int32_t counts, char *out)
{
    char *end = put_number(out, at_ms);
    *end++ = ',';
    end = put_number(end, cell->sequence++);
    *end++ = ',';
    if (answer == CELL_CAME)
        end = put_counts(end, counts);
    *end++ = ',';
    end = put_text(end, answer == CELL_CAME ? status_of(cell, counts) : NO_NUMBER[answer]);
    if (answer != CELL_CAME)
        cell_restarted(cell);
    else if (cell->settling)
        cell->settling--;
    uint16_t crc = cell_check(out, (uint8_t)(end - out));
    *end++ = '*';
    end = put_text(put_check(end, crc), "\r\n");
    *end = 0;
    return (uint8_t)(end - out);
}
