"""Kinds of line that load cells and scales send, with what has to come out.

All devices, words and digits are invented: a stream says first what its device means (`value`, `unit`, `stable`), then
how it prints that. The streams with a pull in them are in `streams_*.py`.
"""

from collections.abc import Callable
from dataclasses import dataclass

from calib.acquire.cell.lines import Kind

BANNER = b"\r\ncold boot, reason 4\r\nStarting towmeter, edition 0.37...\r\nTare was 6613\r\nGoes in 2 s\r\n"
RUBBISH = b"\xff\x00\x81\xfe\x1b[2J{]~\x03\r\n\xc0\xc1 12"
SAMPLES = 45


@dataclass(frozen=True)
class LineOfAKind:
    """A stream of one kind: line `i` of it, and the reading that line `i` is.

    Args:
        stable: What the sender says of line `i`.
        asked: What the question has to show where only the user can say; "" where it has to be read.
        answer: The format that the user then gives.
        refused: What has to be said where there is no force in the lines at all.
        length: The second channel of line `i`, where there is one.
        pattern: Whether `answer` is a pattern.
    """

    name: str
    line: Callable[[int], str]
    value: Callable[[int], float]
    unit: str | None
    stable: bool | Callable[[int], bool | None] | None = None
    end: str = "\r\n"
    column: int | None = None
    header: str = ""
    asked: str = ""
    answer: str = ""
    refused: str = ""
    length: Callable[[int], float] | None = None
    pattern: bool = False

    def stream(self, samples: int = SAMPLES) -> bytes:
        """The lines as bytes."""
        return (self.header + "".join(self.line(i) + self.end for i in range(samples))).encode()

    def stable_at(self, i: int) -> bool | None:
        """What the sender says of line `i`."""
        return self.stable(i) if callable(self.stable) else self.stable


def _wave(i: int) -> float:
    """A force that goes up and down and is never the same twice in a row."""
    return round(4.0 + (i * 37 % 23) * 0.11, 2)


def _counts(i: int) -> int:
    return -123456 + i * 7919 % 613


KINDS = (
    LineOfAKind("bare-counts", lambda i: f"{_counts(i)}", _counts, None),
    LineOfAKind("bare-value", lambda i: f"{_wave(i):.2f}", _wave, None, end="\n"),
    LineOfAKind(
        "padded-with-zeros", lambda i: f"{i * 37 % 23 + 1234:08d}", lambda i: i * 37 % 23 + 1234, None, end="\r"
    ),
    LineOfAKind("label-value-unit", lambda i: f"Zugkraft: {_wave(i):.1f} g", lambda i: round(_wave(i), 1), "g"),
    LineOfAKind("label-without-blank", lambda i: f"kuorma:{_wave(i):.3f}", _wave, None),
    LineOfAKind("label-and-negative", lambda i: f"pull on hook is: {-_wave(i):.2f}", lambda i: -_wave(i), None),
    LineOfAKind(
        "label-in-another-language",
        lambda i: f"Gewicht: {_wave(i):.3f} kg   Faktor: -6412.50",
        _wave,
        "kg",
    ),
    LineOfAKind("label-beyond-ascii", lambda i: f"\u0412\u0435\u0441: {_wave(i):.2f} kg", _wave, "kg"),
    LineOfAKind("label-on-its-own-line", lambda i: f"bridge 4 says:\r\n{_counts(i)}", _counts, None),
    LineOfAKind(
        "two-values",
        lambda i: f"left:\t{_wave(i):.1f}\t; right:\t{_wave(i + 1):.1f}",
        lambda i: round(_wave(i), 1),
        None,
        column=1,
    ),
    LineOfAKind("clock-and-value", lambda i: f"{12345 + 100 * i},{_wave(i):.2f}", _wave, None),
    LineOfAKind("trailing-comma", lambda i: f"{12345 + 89 * i},{_wave(i):.2f},kg,", _wave, "kg"),
    LineOfAKind(
        "clock-temperature-raw-value-unit",
        lambda i: f"{12345 + 100 * i};21.75;{6120444 - i % 9};{_wave(i):.2f} lbs;",
        _wave,
        "lb",
    ),
    LineOfAKind(
        "wrapping-clock",
        lambda i: f"{(32000 + 100 * i + 32768) % 65536 - 32768},{_wave(i):.2f}",
        _wave,
        None,
    ),
    LineOfAKind(
        "other-channels-value-last",
        lambda i: f"{1234567 + 100 * i},{512 + i % 3},{498 - i % 5},{_wave(i):.2f}g",
        _wave,
        "g",
    ),
    LineOfAKind(
        "force-and-length-under-a-header",
        lambda i: f"{100 * i},{_wave(i):.2f},{1.1 + 0.01 * (i % 17):.3f}",
        _wave,
        None,
        header="t,force,length\r\n",
    ),
    LineOfAKind("bench-stable", lambda i: f"ST,GS,+  {_wave(i):.3f}kg", _wave, "kg", True),
    LineOfAKind("bench-unstable", lambda i: f"US,GS,-  {_wave(i):.3f}kg", lambda i: -_wave(i), "kg", False),
    LineOfAKind("bench-blank-for-plus", lambda i: f"ST,GS,   {_wave(i):.2f},kg", _wave, "kg", True),
    LineOfAKind("bench-zeros", lambda i: f"ST,+{_wave(i):09.3f}  g", _wave, "g", True),
    LineOfAKind("bench-short", lambda i: f"ST,GS    {_wave(i):.1f}g", lambda i: round(_wave(i), 1), "g", True),
    LineOfAKind("framed-stable", lambda i: f"\x02+{_wave(i):07.2f}G\x03", _wave, None, True, end=""),
    LineOfAKind("framed-moving", lambda i: f"\x02-{_wave(i):07.2f} kgM\x03", lambda i: -_wave(i), "kg", False),
    LineOfAKind("doubt-mark", lambda i: f"       {_wave(i):.2f} g    ?", _wave, "g", False),
    LineOfAKind("sixteen-signs", lambda i: f"+   {_wave(i):6.2f} g  ", _wave, "g"),
    LineOfAKind("twenty-two-signs", lambda i: f"N     -   {_wave(i):6.2f} g  ", lambda i: -_wave(i), "g"),
    LineOfAKind("reply-stable", lambda i: f"S S   {_wave(i):.2f} g", _wave, "g", True),
    LineOfAKind("reply-dynamic", lambda i: f"S D   {_wave(i):.2f} g", _wave, "g", False),
    LineOfAKind("sign-apart", lambda i: f"-   {_wave(i):.2f} N", lambda i: -_wave(i), "N"),
    LineOfAKind("decimal-comma", lambda i: f"Gewicht: -{_wave(i):.2f} KG".replace(".", ","), lambda i: -_wave(i), "kg"),
    LineOfAKind("newton", lambda i: f"{_wave(i):.2f}kN", _wave, "kN"),
    LineOfAKind("kilogram-force", lambda i: f"{_wave(i):.2f} KGF", _wave, "kgf"),
    LineOfAKind("pound-force", lambda i: f"F = {_wave(i):.2f} lbf", _wave, "lbf"),
    LineOfAKind("ounces", lambda i: f"{_wave(i):.2f} oz", _wave, "oz"),
    LineOfAKind("gram-force", lambda i: f"{_wave(i):.2f} gf", _wave, "gf"),
)

NO_NUMBERS: dict[Kind, tuple[bytes, ...]] = {
    "overload": (
        b"OL,+7000000E+12",
        b"ST,NT,          kg",
        b"      H",
        b"High",
        b"Low",
        b"\x02+0099.99O\x03",
        b"\x02-0099.99U\x03",
        b"overload",
        b"ovf",
        b"inf",
        b"Weight: inf kg",
        b"S +",
        b"1e400",
    ),
    "fault": (b"bridge not found.", b"nan", b"Weight: nan kg", b"read error 12", b"bridge timeout 77", b"S I"),
}
