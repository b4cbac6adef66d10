"""The lines of a captured stream with the times they are replayed at. No file is opened and nobody waits here.

A capture is either what the device sent, byte for byte, or what `listen --json` printed, which keeps the times.
"""

import json
import re
from collections.abc import Iterable, Iterator
from itertools import chain, pairwise
from statistics import median
from typing import Literal

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.lines import LONGEST

Rate = Literal["real", "fast"] | float

ASSUMED = 10.0  # lines a second where the capture does not say
_END = re.compile(rb"\r\n?|\n|\x03")
_WRITTEN_OUT = re.compile(r"<([0-9A-F]{2})>")


def timed_lines(head: bytes, blocks: Iterable[bytes], rate: Rate) -> Iterator[tuple[float, bytes]]:
    """Each line, ends included, with its time from the start.

    Args:
        head: The first bytes, enough to find a clock in.
        blocks: The rest.
        rate: Lines a second; otherwise the capture's own: the times of `--json`, else the sender's clock, else ten.
    """
    lines = _lines(chain([head], blocks))
    if _has_times(head):
        yield from _with_times(lines, rate)
        return
    step = 1 / (rate if isinstance(rate, float) else lines_per_s(head) or ASSUMED)
    for i, line in enumerate(lines):
        yield i * step, line


def _lines(blocks: Iterable[bytes]) -> Iterator[bytes]:
    pending = b""
    for block in blocks:
        pending += block
        begin = 0
        for found in _END.finditer(pending[:-1] if pending.endswith(b"\r") else pending):
            yield pending[begin : found.end()]
            begin = found.end()
        pending = pending[begin:]
        if len(pending) > 4 * LONGEST:
            yield pending
            pending = b""
    if pending:
        yield pending


def _has_times(head: bytes) -> bool:
    return _entry(head.split(b"\n", 1)[0]) is not None


def _entry(line: bytes) -> tuple[float, str] | None:
    """Time and text of one line of `listen --json`."""
    if not line.lstrip().startswith(b"{"):
        return None
    try:
        found = json.loads(line)
        return float(found["at_s"]), str(found["raw"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _with_times(lines: Iterable[bytes], rate: Rate) -> Iterator[tuple[float, bytes]]:
    first: float | None = None
    at = 0.0
    for i, line in enumerate(lines):
        entry = _entry(line)
        if entry is None or not -1e9 < entry[0] < 1e9:
            continue
        first = entry[0] if first is None else first
        at = max(at, i / rate if isinstance(rate, float) else entry[0] - first)
        yield at, _WRITTEN_OUT.sub(lambda found: chr(int(found[1], 16)), entry[1]).encode() + b"\n"


def lines_per_s(head: bytes) -> float | None:
    """How often lines were sent, by the sender's own clock; None where they hold none.

    >>> rate = lines_per_s(b"".join(b"%d,%d" % (9000 + 80 * i, i * i % 17) + bytes([10]) for i in range(60)))
    >>> round(rate or 0.0, 6)
    12.5
    """
    reader = LineReader()
    records = reader.feed(head, 0.0)
    clock = [record.clock_s for record in records if record.clock_s is not None]
    steps = [b - a for a, b in pairwise(clock) if b > a]
    return 1 / median(steps) if steps else None
