"""A load cell on USB, for MicroPython on an ESP32 or a Pico: copy this file and cell_line.py to the board.

It prints to the board's USB console. Pins may be changed here; nothing else needs to be.
"""

import sys
import time

import machine
from cell_line import BANNER, CAME, COLUMNS, PULSES, SILENT, STUCK, WAIT_MS, CellLine, counts_of

DATA_PIN = 4
CLOCK_PIN = 5
WATCHDOG_MS = 4000


class Converter:
    """A two-wire 24-bit converter."""

    def __init__(self, data, clock):
        self.data, self.clock = data, clock
        self.restart()

    def restart(self):
        """Switch it off and on."""
        self.clock.value(1)
        time.sleep_us(100)
        self.clock.value(0)

    def comes(self):
        """Wait until a conversion is there; False when none comes within a second."""
        since = time.ticks_ms()
        while self.data.value():
            if time.ticks_diff(time.ticks_ms(), since) >= WAIT_MS:
                return False
        return True

    def read(self):
        """Clock a conversion in: counts, and whether the converter answered as it should."""
        bits, data, clock = 0, self.data.value, self.clock.value
        for pulse in range(PULSES):
            # a clock pulse of 60 us switches the converter off: no interrupt may stretch one
            state = machine.disable_irq()
            clock(1)
            bit = data()
            clock(0)
            machine.enable_irq(state)
            if pulse < 24:
                bits = bits << 1 | bit
        return counts_of(bits), bool(data())


def run(rounds=None):
    """Print lines; for ever where no number of rounds is given."""
    data = machine.Pin(DATA_PIN, machine.Pin.IN, machine.Pin.PULL_UP)  # a broken wire reads as "no conversion yet"
    converter = Converter(data, machine.Pin(CLOCK_PIN, machine.Pin.OUT, value=0))
    line, started = CellLine(), time.ticks_ms()
    sys.stdout.write(BANNER + "# board: " + sys.platform + "\r\n" + COLUMNS)
    watchdog, at = machine.WDT(timeout=WATCHDOG_MS), 0
    while rounds is None or rounds > 0:
        rounds = None if rounds is None else rounds - 1
        watchdog.feed()
        came = converter.comes()
        now = time.ticks_ms()
        at, started = at + time.ticks_diff(now, started), now  # ticks begin again after some days
        counts, answered = converter.read() if came else (0, True)
        answer = SILENT if not came else CAME if answered else STUCK
        sys.stdout.write(line.write(at, answer, counts))
        if answer != CAME:
            if answer == STUCK:
                time.sleep_ms(WAIT_MS)
            converter.restart()


if __name__ == "__main__":
    run()
