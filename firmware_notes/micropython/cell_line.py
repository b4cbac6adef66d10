"""The line of a load cell, for MicroPython: the same text as load_cell/cell_line.c writes. No pin or port is touched.

10250,17,84213,ok*545E    milliseconds since the start, number of the line, counts, status, CRC-16 of what stands before
"""

PULSES = 25  # 24 bits and one more: the next conversion is of input A at gain 128
SETTLE = 4  # conversions until the converter's own filter has settled
WAIT_MS = 1000  # without a conversion, until that is said
BANNER = "# bandcurve load cell, firmware 2\r\n"
COLUMNS = "# ms,sequence,counts,status*crc\r\n"
CAME, SILENT, STUCK = 0, 1, 2
FULL_SCALE = 8388607
_NO_NUMBER = ("", "no response", "wiring fault")


def counts_of(bits):
    """The 24 bits of a conversion as a number."""
    return bits - 0x1000000 if bits & 0x800000 else bits


def check_of(text):
    """CRC-16, polynomial 0x1021, begun with 0xFFFF."""
    crc = 0xFFFF
    for byte in text.encode():
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


class CellLine:
    """Writes the lines of one converter."""

    def __init__(self):
        self.sequence = 0
        self.settling = SETTLE

    def restarted(self):
        """The converter was switched off and on."""
        self.settling = SETTLE

    def write(self, at_ms, answer, counts=0):
        """One line with its end."""
        number = str(counts) if answer == CAME else ""
        status = self._status(counts) if answer == CAME else _NO_NUMBER[answer]
        text = f"{at_ms},{self.sequence},{number},{status}"
        self.sequence = self.sequence + 1 & 0xFFFFFFFF
        if answer != CAME:
            self.restarted()
        elif self.settling:
            self.settling -= 1
        return f"{text}*{check_of(text):04X}\r\n"

    def _status(self, counts):
        if counts >= FULL_SCALE or counts <= -FULL_SCALE - 1:
            return "saturated"
        return "settling" if self.settling else "ok"
