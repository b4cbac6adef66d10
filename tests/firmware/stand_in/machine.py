"""What the MicroPython program calls of a board, on a computer: a two-wire converter played from a list."""

import time

script = []  # a conversion's counts, or "stuck"


class _Converter:
    ready = False
    pulses = 0
    read = 0
    counts = 0
    stuck = False
    masked = False


_c = _Converter()


class Pin:
    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self, number, mode, pull=None, value=None):
        self.is_clock = mode == Pin.OUT
        self.level = value or 0

    def value(self, to=None):
        return self._clock(to) if self.is_clock else self._data()

    def _clock(self, to):
        if to and not self.level and _c.masked:
            _c.pulses += 1
        elif to and not self.level:
            _c.ready = False  # off and on
        self.level = to

    def _data(self):
        if _c.ready and _c.pulses >= 25 and not _c.stuck:
            _c.read += 1
            _c.ready = _c.read < 2  # looked at during the last pulse, and once more behind it
            return 1
        if not _c.ready:
            if not script:
                return 1
            what = script.pop(0)
            if what == "dead":
                time.sleep_ms(1100)
                return 1
            _c.ready, _c.pulses, _c.read, _c.stuck = True, 0, 0, what == "stuck"
            _c.counts = 0 if _c.stuck else int(what) & 0xFFFFFF
            return 0
        if _c.pulses == 0 or _c.stuck:
            return 0
        return _c.counts >> (24 - _c.pulses) & 1


class WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


def disable_irq():
    _c.masked = True
    return 0


def enable_irq(state):
    _c.masked = False
