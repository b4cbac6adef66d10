// A load cell on USB, for any board that such sketches run on: open this folder, choose board and port, upload.
// What it prints, and why, stands in cell_line.h. Pins and speed may be changed here; nothing else needs to be.
#include "cell_line.h"

#if defined(ARDUINO_ARCH_AVR)
#include <avr/wdt.h>
#define WATCHDOG_ON() wdt_enable(WDTO_4S)
#define WATCHDOG_FED() wdt_reset()
#elif defined(ARDUINO_ARCH_ESP32)
#include <esp_task_wdt.h>
#define WATCHDOG_ON() esp_task_wdt_add(NULL)
#define WATCHDOG_FED() esp_task_wdt_reset()
#elif defined(ARDUINO_ARCH_RP2040)
#define WATCHDOG_ON() rp2040.wdt_begin(4000)
#define WATCHDOG_FED() rp2040.wdt_reset()
#else
#define WATCHDOG_ON()
#define WATCHDOG_FED()
#endif

const int DATA_PIN = 4;
const int CLOCK_PIN = 5;
const long SPEED = 57600;

static struct cell_line cell;

// A clock pulse of 60 us switches the converter off, in the middle of a read: no interrupt may stretch one.
static void pulse(bool wanted, uint32_t *bits)
{
    noInterrupts();
    digitalWrite(CLOCK_PIN, HIGH);
    delayMicroseconds(1);
    if (wanted)
        *bits = *bits << 1 | (digitalRead(DATA_PIN) == HIGH);
    digitalWrite(CLOCK_PIN, LOW);
    interrupts();
    delayMicroseconds(1);
}

static int32_t read_counts()
{
    uint32_t bits = 0;
    for (int i = 0; i < CELL_PULSES; i++)
        pulse(i < 24, &bits);
    return cell_counts(bits);
}

static void restart_converter()
{
    digitalWrite(CLOCK_PIN, HIGH);
    delayMicroseconds(100);
    digitalWrite(CLOCK_PIN, LOW);
}

static bool conversion_comes()
{
    unsigned long since = millis();
    while (digitalRead(DATA_PIN) == HIGH)
        if (millis() - since >= CELL_WAIT_MS)
            return false;
    return true;
}

void setup()
{
    pinMode(CLOCK_PIN, OUTPUT);
    pinMode(DATA_PIN, INPUT_PULLUP); // a broken wire reads as "no conversion yet"
    Serial.begin(SPEED);
    Serial.print(CELL_BANNER "# board: sketch\r\n" CELL_COLUMNS);
    restart_converter();
    cell_restarted(&cell);
    WATCHDOG_ON();
}

void loop()
{
    WATCHDOG_FED();
    bool came = conversion_comes();
    unsigned long at = millis();
    int32_t counts = came ? read_counts() : 0;
    // a converter that was read takes its data wire up
    enum cell_answer answer = !came ? CELL_SILENT : digitalRead(DATA_PIN) == LOW ? CELL_STUCK : CELL_CAME;
    char line[CELL_LINE_SIZE];
    cell_write(&cell, at, answer, counts, line);
    Serial.print(line);
    if (answer == CELL_CAME)
        return;
    if (answer == CELL_STUCK)
        delay(CELL_WAIT_MS);
    restart_converter();
}
