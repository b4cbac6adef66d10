"""The full campaign: kinds of band and gear, what is wanted, readings chosen against evenly spaced ones."""

import argparse
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.campaigns.until.scoring import Outcome, chosen, even

CASES = (
    ("hook", 0.02),
    ("hook", 0.015),
    ("ogden", 0.015),
    ("ogden", 0.01),
    ("great-loss", 0.015),
    ("power", 0.02),
    ("curled", 0.01),
    ("stiff", 0.015),
    ("layer", 0.015),
    ("curled-hook", 0.015),
)
MOST_SHARE, COVERAGE = 0.7, (0.92, 0.98)
HEAD = """# Readings until: what choosing them one by one is worth

Written by `python -m tests.campaigns.until --write`: {bands} simulated bands per row, with laws the fitter does not
use and seeds fixed beforehand; worlds with a star are kept aside. Wanted: the 95 % half-width of the loading pull in
the middle of the working lengths, from 1.3 times the rest length to a tenth below the top. Chosen: three readings
first, then whichever lowers it most, until the fit states what was wanted. Even: eight evenly spaced lengths out and
back, cycle after cycle, looked at after every reading, and (whole) after every sweep, since an interrupted sweep is
not evenly spaced. Share is chosen over even. Holds: how often the interval contains the truth at the stop.

Must hold: a share of at most 70 % of whole sweeps, and 92-98 % of intervals.

| world | wanted % | chosen | even | share % | even, whole | share % | reached % | holds | error/u | kept |
|---|---|---|---|---|---|---|---|---|---|---|
"""
FOOT = """
Where an interval holds more often than asked (curled: a load cell, cycles that differ by 0.3 %), four or five
readings say little about how much cycles differ; the prior's root mean square is 0.7 %. More readings would tell the
two apart, but the asking stops before that.
"""


def main() -> int:
    """Run the campaign as asked on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.until", description=__doc__)
    parser.add_argument("--bands", type=int, default=300, help="bands a row")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--write", default="", metavar="FILE", help="also write the table to a file")
    wanted = parser.parse_args()
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way
    rows, kept = [], True
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        for name, aim in CASES:
            mine = list(pool.map(partial(chosen, BY_NAME[name], aim), range(wanted.bands), chunksize=5))
            others = list(pool.map(partial(even, BY_NAME[name], aim), range(wanted.bands), chunksize=5))
            row, good = _row(name, aim, mine, others)
            print(row, file=sys.stderr, flush=True)
            rows.append(row)
            kept &= good
    page = HEAD.format(bands=wanted.bands) + "\n".join(rows) + "\n" + FOOT
    print(page)
    if wanted.write:
        Path(wanted.write).write_text(page, encoding="utf-8")
    return 0 if kept else 1


def _row(name: str, aim: float, mine: list[Outcome], others: list[Outcome]) -> tuple[str, bool]:
    count, even_count = (float(np.mean([o.readings for o in group])) for group in (mine, others))
    whole = float(np.mean([o.whole_sweeps for o in others]))
    holds = float(np.mean([o.holds for o in mine]))
    ratio = float(np.sqrt(np.mean([(1.96 * o.relative_error / o.relative_u95) ** 2 for o in mine])))
    good = count <= MOST_SHARE * whole and COVERAGE[0] <= holds <= COVERAGE[1]
    reached = 100 * float(np.mean([o.reached for o in mine]))
    star = " *" if BY_NAME[name].kept_aside else ""
    return (
        f"| {name}{star} | {100 * aim:g} | {count:.1f} | {even_count:.1f} | {100 * count / even_count:.0f} "
        f"| {whole:.1f} | {100 * count / whole:.0f} | {reached:.0f} | {holds:.3f} | {ratio:.2f} "
        f"| {'yes' if good else 'no'} |"
    ), good


if __name__ == "__main__":
    sys.exit(main())
