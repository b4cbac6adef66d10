"""A load cell for a day, as fast as it goes, with its cable pulled in storms; and recordings unplugged or killed."""

import resource
import sys
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen
from tests.campaigns.attack.tally import Tally
from tests.verbs.cell.trials import killed, type_flat, unplugged

RATE = 10  # lines a second
STORM = 400  # lines, about, from one pulled cable to the next
MOST_MB = 40  # that a day may add


def day(rng: Random, hours: float) -> Tally:
    """So many hours of lines; each that came whole must be read as it was sent, and memory must not grow with them."""
    tally = Tally(f"a stream of {hours:g} hours at {RATE} lines a second, the cable pulled again and again")
    reader, before = LineReader(Chosen()), _megabytes()
    sent: list[float] = []
    read = 0
    for i in range(int(hours * 3600 * RATE)):
        value = round(20 + 5 * rng.random(), 3)
        line = f"{value:.3f} kg\r\n".encode()
        if rng.randrange(STORM) == 0:  # torn off in the middle; the next line begins anew
            reader.feed(b"\r\n" + line[: rng.randrange(3)] + b"\r\n", i / RATE)
        sent.append(value)
        for record in reader.feed(line, i / RATE):
            if record.kind == "reading" and record.value is not None:
                read += 1
                if round(record.value, 3) not in sent[-60:]:
                    tally.count(f"line {i}: {record.value} was never sent")
        del sent[:-60]
    tally.tried = int(hours * 3600 * RATE)
    tally.lost = max(0, tally.tried - read - 100)  # the first are looked at before one is believed
    grown = _megabytes() - before
    tally.remark = f"{read} read; memory grew by {grown:.1f} MB"
    if grown > MOST_MB:
        tally.troubles.append(f"memory grew by {grown:.0f} MB")
    return tally


def _megabytes() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000


def recordings(count: int) -> Tally:
    """The cable pulled, and the program killed, so many times each in the middle of a recording at a load cell."""
    tally = Tally("recordings at a load cell with the cable pulled or the program killed")
    with pytest.MonkeyPatch.context() as patch:
        type_flat(patch)
        for trial in (unplugged, killed):
            for seed in range(count):
                tally.count(_one(trial, seed))
    return tally


def _one(trial: object, seed: int) -> str:
    terminal = sys.stderr
    with TemporaryDirectory() as folder, Path("/dev/null").open("w") as nowhere:
        sys.stderr = nowhere
        try:
            trial(seed, Path(folder))  # type: ignore[operator]
        except Exception as error:  # what is looked for
            return f"seed {seed}: {type(error).__name__}: {str(error)[:300]}"
        finally:
            sys.stderr = terminal
    return ""
