"""The full campaign: every world, hundreds of bands, scored against the bounds; exit status 1 where one is broken."""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

from tests.campaigns.simulated_bands.report import WorldResult, as_markdown
from tests.campaigns.simulated_bands.scoring import BETWEEN, score, score_slips, try_band, try_slips
from tests.campaigns.simulated_bands.worlds import BY_NAME, World

T = TypeVar("T")


def main() -> int:
    """Run the campaign as asked on the command line."""
    wanted = _options()
    worlds = [BY_NAME[name] for name in wanted.worlds.split(",")] if wanted.worlds else list(BY_NAME.values())
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        results = [_one_world(pool, world, wanted.bands, wanted.slips) for world in worlds]
    page = as_markdown(results, wanted.bands, BETWEEN)
    print(page)
    if wanted.write:
        Path(wanted.write).write_text(page, encoding="utf-8")
    return 1 if any(r.broken for r in results) else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.simulated_bands", description=__doc__)
    parser.add_argument("--bands", type=int, default=500, help="bands a world")
    parser.add_argument("--slips", type=int, default=200, help="runs a world with one wrong reading")
    parser.add_argument("--worlds", default="", help=f"some of: {', '.join(BY_NAME)}")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--write", default="", metavar="FILE", help="also write the tables to a file")
    return parser.parse_args()


def _one_world(pool: ProcessPoolExecutor, world: World, bands: int, slips: int) -> WorldResult:
    started = time.monotonic()
    outcomes = score(_each(pool, partial(try_band, world), bands))
    slipped = [s for run in _each(pool, partial(try_slips, world), slips) for s in run]
    result = WorldResult(world, outcomes, score_slips(slipped) if slipped else [])
    word = "; ".join(result.broken) or "all kept"
    print(f"{world.name}: {word} ({time.monotonic() - started:.0f} s)", file=sys.stderr, flush=True)
    return result


def _each(pool: ProcessPoolExecutor, work: Callable[[int], T], count: int) -> Iterator[T]:
    return pool.map(work, range(count), chunksize=max(1, min(25, count // 4)))


if __name__ == "__main__":
    sys.exit(main())
