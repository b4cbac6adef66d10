"""Which speed and framing a device sends at, judged from the bytes that arrive. No port is opened or switched here.

A wrong speed does not fall silent: it gives wrong bytes. So only what arrives is judged, and silence says nothing.
"""

from typing import Literal

from calib.acquire.cell.lines import cut_without_ends
from calib.frozen import dataclass

Framing = Literal["8N1", "7E1", "7O1"]
Verdict = Literal["text", "text-7E1", "text-7O1", "garbage", "little"]
FRAMINGS: tuple[Framing, ...] = ("8N1", "7E1", "7O1")

WINDOW = 256  # newest bytes looked at
LEAST = 5  # bytes that say anything
ENOUGH = 64  # bytes that are judged even without a line end
LINES = 2  # whole lines, one of them with a digit, that make a text
FEW_BAD = 0.1  # share of bytes that no text holds, still borne: a torn line, a code page
MANY_BAD = 0.5  # share that makes garbage of what was text before
QUICK = 2.5  # s until a few bytes, most of them bad, are enough: at a low speed a whole fast line is one wrong byte
PATIENCE = 12.0  # s until bytes without a readable line are given up; a sketch every five seconds has sent three
LONG_PATIENCE = 60.0  # s where they are good and lines end
SETTLED = 20.0  # s without a good window until a speed that was right is doubted

_PRINTED = frozenset(range(0x20, 0x7F)) | {2, 3, 9, 10, 13}
_PARITIES: dict[Verdict, frozenset[int]] = {
    "text-7E1": frozenset(byte for byte in range(256) if byte.bit_count() % 2 == 0),
    "text-7O1": frozenset(byte for byte in range(256) if byte.bit_count() % 2 == 1),
}
_ENDS = (b"\r", b"\n", b"\x03")


@dataclass(frozen=True)
class Setting:
    """Bits a second, and how a byte is framed: 8 bits, or 7 with even or odd parity."""

    baud: int
    framing: Framing = "8N1"

    def __str__(self) -> str:
        return f"{self.baud} {self.framing}"


# In the order of how often they are met; common practice, no source.
SETTINGS = tuple(Setting(baud) for baud in (115200, 9600, 57600, 38400, 19200, 4800, 2400, 250000))


def judge(data: bytes) -> Verdict:
    """Say what bytes look like that were received with 8 bits and no parity.

    Args:
        data: In the order they came.

    >>> judge(b"4.87 kg" + bytes([13, 10]) + b"4.88 kg" + bytes([13, 10, 52]) + b".86 kg" + bytes([13, 10]))
    'text'
    """
    newest = data[-WINDOW:]
    high = any(byte > 127 for byte in newest)
    seven = next((said for said, bytes_ in _PARITIES.items() if high and bytes_.issuperset(newest)), None)
    text = bytes(byte & 0x7F for byte in newest) if seven else newest
    if _bad_share(text) > FEW_BAD:
        return "garbage" if len(newest) >= ENOUGH else "little"
    if not any(end in text for end in _ENDS) and cut_without_ends(text) is not None:
        return seven or "text"
    for end in _ENDS[1:]:
        text = text.replace(end, _ENDS[0])
    whole = [line for line in text.split(_ENDS[0])[1:-1] if line]
    if len(whole) < LINES or not any(byte in b"0123456789" for line in whole for byte in line):
        return "little"
    return seven or "text"


def _bad_share(data: bytes | bytearray) -> float:
    """Share of bytes that are neither printed characters nor part of UTF-8."""
    if not data:
        return 0.0
    bad = sum(ord(sign) == 0xFFFD or (sign.isascii() and ord(sign) not in _PRINTED) for sign in _lenient(data))
    return bad / len(data)


def _lenient(data: bytes | bytearray) -> str:
    while data and 0x80 <= data[0] < 0xC0:
        data = data[1:]  # the window may begin within a letter
    return data.decode("utf-8", "replace")


class BaudSearch:
    """Goes through the settings until bytes are text, and doubts a setting again when they no longer are.

    Args:
        fixed: Stay at this one, whatever comes.
        hunting: Whether the source has a speed at all; without one only the framing is found.
    """

    def __init__(self, fixed: Setting | None = None, *, hunting: bool = True) -> None:
        self.setting = fixed or SETTINGS[0]
        self.found = fixed is not None
        self.tried: tuple[Setting, ...] = ()  # those that gave garbage since the last text
        self._fixed = fixed is not None
        self._hunting = hunting
        self._window = bytearray()
        self._since = 0  # bytes since the last judgement
        self._first_s: float | None = None
        self._text_s = 0.0

    def feed(self, data: bytes, at_s: float) -> Setting | None:
        """Look at bytes that arrived.

        Returns:
            The setting to switch to, None to stay. `found` says whether the bytes may be read as they are.
        """
        if self._first_s is None:
            self._first_s = self._text_s = at_s
        self._window += data
        del self._window[:-WINDOW]
        self._since += len(data)
        if self._fixed or (self.found and self._since < ENOUGH):
            return None
        self._since = 0
        verdict = judge(bytes(self._window))
        if verdict in {"text", *_PARITIES}:
            self._text_s = at_s
            return self._settle(next((one for one in FRAMINGS if verdict.endswith(one)), "8N1"))
        return self._doubt(at_s) if self.found else self._go_on(verdict, at_s)

    def _settle(self, framing: Framing) -> Setting | None:
        if self.found:
            return None  # with 7 bits and parity the port has taken the parity away already
        self.found, self.tried = True, ()
        before, self.setting = self.setting, Setting(self.setting.baud, framing)
        return self.setting if self.setting != before else None

    def _go_on(self, verdict: Verdict, at_s: float) -> Setting | None:
        """Not readable yet: wait for more, or try the next."""
        assert self._first_s is not None  # set with the first bytes
        waited, bad = at_s - self._first_s, _bad_share(self._window)
        patience = PATIENCE
        if bad > MANY_BAD and len(self._window) >= LEAST:
            patience = QUICK
        elif bad <= FEW_BAD and any(end in self._window for end in _ENDS):
            patience = LONG_PATIENCE
        if verdict == "little" and waited < patience:
            return None
        if not self._hunting:
            self.found = True  # nothing to switch: the reader says what the bytes are
            return None
        return self._next()

    def _doubt(self, at_s: float) -> Setting | None:
        """It was right once: only a long spell of nothing but garbage makes it wrong."""
        lasting = at_s - self._text_s > SETTLED and len(self._window) == WINDOW
        if not self._hunting or not lasting or _bad_share(self._window) < MANY_BAD:
            return None
        self.found = False
        return self._next()

    def _next(self) -> Setting:
        bauds = [setting.baud for setting in SETTINGS]
        self.tried = (*self.tried, self.setting)
        self.setting = SETTINGS[(bauds.index(self.setting.baud) + 1) % len(bauds)]
        self._window.clear()
        self._first_s = None
        return self.setting

    @property
    def unreadable(self) -> bool:
        """Whether the newest bytes are no text, whoever chose the setting."""
        return judge(bytes(self._window)) == "garbage"

    @property
    def exhausted(self) -> bool:
        """Whether every setting was tried twice in vain."""
        return len(self.tried) >= 2 * len(SETTINGS)
