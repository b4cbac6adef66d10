/* Runs the sketch against a played converter: each argument is a conversion's counts, "dead" or "stuck". */
#include "Arduino.h"
#include <cstring>

unsigned long now_us = 0;
Port Serial;
static const unsigned long PERIOD_US = 100000;
static char **script;
static int left, pulses = 0, level = 0, masked = 0;
static long counts;
static bool ready = false;

static void conversion()
{
    static unsigned long next_us = PERIOD_US;
    if (ready || left == 0 || now_us < next_us)
        return;
    next_us = now_us + PERIOD_US;
    if (!std::strcmp(*script, "dead")) {
        next_us = now_us + 1200000;
    } else {
        ready = true;
        pulses = 0;
        counts = std::strcmp(*script, "stuck") ? std::atol(*script) : 0;
    }
    if (left > 1 || ready)
        script++, left--;
}

unsigned long millis() { now_us += 10; conversion(); return now_us / 1000; }
void delay(unsigned long ms) { now_us += 1000 * ms; }
void delayMicroseconds(unsigned int us) { now_us += us; }
void pinMode(int, int) {}
void noInterrupts() { masked = 1; }
void interrupts() { masked = 0; }

void digitalWrite(int, int to)
{
    if (to == HIGH && level == LOW && masked)
        pulses++;
    if (to == HIGH && level == LOW && !masked)
        ready = false; /* off and on */
    level = to;
}

int digitalRead(int)
{
    conversion();
    if (!ready)
        return HIGH;
    if (pulses == 0)
        return LOW;
    bool stuck = !std::strcmp(script[-1], "stuck");
    if (stuck)
        return LOW;
    return pulses > 24 ? HIGH : (counts >> (24 - pulses)) & 1;
}

#include "load_cell.ino"

int main(int argc, char **argv)
{
    script = argv + 1;
    left = argc - 1;
    setup();
    for (int i = 1; i < argc; i++) {
        loop();
        if (pulses >= 25)
            ready = false;
    }
}
