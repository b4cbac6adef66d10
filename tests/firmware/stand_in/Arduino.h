/* What a sketch calls, on a computer: pins of a two-wire converter played from a list, time that moves when waited. */
#pragma once
#include <cstdint>
#include <cstdio>
#include <cstdlib>

const int LOW = 0, HIGH = 1, INPUT_PULLUP = 2, OUTPUT = 1;
extern unsigned long now_us;
unsigned long millis();
void delay(unsigned long ms);
void delayMicroseconds(unsigned int us);
void pinMode(int pin, int mode);
void digitalWrite(int pin, int level);
int digitalRead(int pin);
void noInterrupts();
void interrupts();
struct Port {
    void begin(long speed) { (void)speed; }
    void print(const char *text) { std::fputs(text, stdout); }
};
extern Port Serial;
