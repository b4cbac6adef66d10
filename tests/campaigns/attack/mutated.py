"""Files of every kind changed in their structure and in every number: one sentence, or a value; never anything else."""

import json
import re
import time
import warnings
import zipfile
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from calib.errors import BandcurveError
from tests.campaigns.attack.kinds import Kind, kinds
from tests.campaigns.attack.tally import Tally
from tests.verbs.leaves import all_pushed

LONGEST_S, LONGEST_SENTENCE = 5.0, 1300
NUMBER = re.compile(rb"(?<![\w.])-?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?(?![\w.])")
EXTREMES = (b"0", b"-1", b"1e308", b"-1e308", b"5e-324", b"nan", b"1e999", b"9" * 400)
NASTY = (
    b"", b"\x00", b"\x1b[2J", b'"', b"'", b"=cmd|' /C calc'!A0", b"\xff\xfe", "\u202e\u0000x".encode(), b"x" * 70_000,
    b"../../x", b"[" * 3000, b"{" * 3000, b"," * 3000, b"null", b"true", b"[]", b"{}", b"-", b"1,5", b"1e", b"a." * 900,
    b"\r", b"2026-13-99", b"9999-12-31T23:59:59+99:00", b"0001-01-01T00:00:00+14:00", b"\xf0\x9f\x98\x80",
)  # fmt: skip


def structure(rng: Random, times: int) -> Tally:
    """Each kind changed so many times in its structure."""
    tally = Tally("files of every kind, structure changed")
    with TemporaryDirectory() as folder:
        for kind in kinds(Path(folder)):
            _is_good(kind, tally)
            for _ in range(times):
                _try(kind, _changed(kind.good, rng), tally)
    return tally


def numbers(rng: Random, share: float) -> Tally:
    """Each number of each kind at each extreme, or a share of them."""
    tally = Tally("every number of every kind at its extremes")
    with TemporaryDirectory() as folder:
        for kind in kinds(Path(folder)):
            for data in _pushed(kind):
                if rng.random() < share:
                    _try(kind, data, tally)
    return tally


def _is_good(kind: Kind, tally: Tally) -> None:
    """Else every refusal would prove nothing."""
    try:
        kind.read(kind.good)
    except BandcurveError as error:
        tally.count(f"{kind.name}: the good one is refused: {error}")


def _try(kind: Kind, data: bytes, tally: Tally) -> None:
    warnings.simplefilter("ignore")  # of the libraries that unpack workbooks
    began, trouble, refused = time.process_time(), "", False
    try:
        kind.read(data)
    except BandcurveError as error:
        refused = True
        if len(str(error)) > LONGEST_SENTENCE or not str(error).isprintable():
            trouble = f"said in {len(str(error))} characters"
    except Exception as error:  # what is looked for
        trouble = f"{type(error).__name__}: {str(error)[:200]}"
    took = time.process_time() - began
    if took > LONGEST_S:
        trouble = f"took {took:.1f} s"
    tally.count(f"{kind.name}: {trouble}, of {data[:3000]!r}" if trouble else "", refused=refused)


def _pushed(kind: Kind) -> Iterator[bytes]:
    if kind.good.startswith(b"PK"):
        return
    if kind.good.startswith(b"{"):
        yield from (json.dumps(made).encode() for _, made in all_pushed(json.loads(kind.good)))
    for found in NUMBER.finditer(kind.good):
        for extreme in EXTREMES:
            yield kind.good[: found.start()] + extreme + kind.good[found.end() :]


def _changed(data: bytes, rng: Random) -> bytes:
    if data.startswith(b"PK") and rng.random() < 0.7:
        return _inside(data, rng)
    for _ in range(rng.choice((1, 1, 2, 4))):
        data = rng.choice((_line, _token, _byte, _cut, _repeat))(data, rng)
    return data


def _inside(data: bytes, rng: Random) -> bytes:
    """A part of a packed workbook changed."""
    out = BytesIO()
    with zipfile.ZipFile(BytesIO(data)) as before, zipfile.ZipFile(out, "w") as after:
        names = before.namelist()
        victim = rng.choice(names)
        for name in names:
            part = before.read(name)
            after.writestr(name, _token(part, rng) if name == victim else part)
    return out.getvalue()


def _line(data: bytes, rng: Random) -> bytes:
    lines = data.split(b"\n")
    i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
    match rng.randrange(4):
        case 0:
            del lines[i]
        case 1:
            lines.insert(j, lines[i])
        case 2:
            lines[i], lines[j] = lines[j], lines[i]
        case _:
            lines[i] = rng.choice(NASTY)
    return b"\n".join(lines)


def _token(data: bytes, rng: Random) -> bytes:
    found = list(re.finditer(rb"[\w.+-]+", data))
    if not found:
        return data
    one = rng.choice(found)
    return data[: one.start()] + rng.choice(NASTY + EXTREMES) + data[one.end() :]


def _byte(data: bytes, rng: Random) -> bytes:
    i = rng.randrange(len(data) + 1)
    return data[:i] + bytes([rng.randrange(256)]) + data[i + rng.randrange(2) :]


def _cut(data: bytes, rng: Random) -> bytes:
    return data[: rng.randrange(len(data) + 1)]


def _repeat(data: bytes, rng: Random) -> bytes:
    i = rng.randrange(len(data) + 1)
    piece = data[i : i + rng.randrange(1, 200)]
    return data[:i] + piece * rng.choice((2, 20, 500)) + data[i:]
