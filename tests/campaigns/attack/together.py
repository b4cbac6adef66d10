"""Two programs at once on each file that grows, in different time zones and with a clock set back: nothing is lost."""

import os
import time
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path
from tempfile import TemporaryDirectory

from calib.errors import FileError
from tests.campaigns.attack.cut import GROWN, Grown
from tests.campaigns.attack.tally import Tally

ZONES = ("UTC", "Pacific/Kiritimati", "Pacific/Niue", "Europe/Berlin", "Asia/Kathmandu")


def at_once(each: int, programs: int) -> Tally:
    """So many programs add so many entries each; those that were acknowledged must be there."""
    tally = Tally("several programs at once on each file that grows, each in another time zone")
    for grown in GROWN[:-1]:  # a profile has one writer, the newest stands
        with TemporaryDirectory() as name:
            folder = Path(name)
            grown.add(folder, 1)
            jobs = [_begun(grown, folder, 1000 * (who + 1), each, who) for who in range(programs)]
            for job in jobs:
                job.join(120)
            said = {int(line) for path in folder.glob("said.*") for line in path.read_text().split()}
            lost = said - grown.there(folder)
            tally.lost += len(lost)
            for i in sorted(said):
                tally.count(f"{grown.name}: {i} lost" if i in lost else "")
            if any(job.exitcode for job in jobs):
                tally.count(f"{grown.name}: ended with {[job.exitcode for job in jobs]}")
    return tally


def _begun(grown: Grown, folder: Path, first: int, each: int, who: int) -> BaseProcess:
    job = get_context("fork").Process(target=_add, args=(grown, folder, first, each, ZONES[who % len(ZONES)]))
    job.start()
    return job


def _add(grown: Grown, folder: Path, first: int, each: int, zone: str) -> None:
    os.environ["TZ"] = zone
    time.tzset()
    with (folder / f"said.{first}").open("w", buffering=1) as said:
        for i in range(first, first + each):
            try:
                grown.add(folder, i)
            except FileError:
                continue  # a run that somebody else wrote to meanwhile: refused in one sentence
            said.write(f"{i}\n")
