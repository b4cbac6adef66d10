"""The full campaign: every kind of batch, scored against the bounds; exit status 1 where one is broken."""

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

from tests.campaigns.batch.report import Result, as_markdown
from tests.campaigns.batch.scoring import Score, score, try_batch
from tests.campaigns.batch.simulated import BatchWorld
from tests.campaigns.batch.worlds import BY_NAME, with_odd_band


def main() -> int:
    """Run the campaign as asked on the command line."""
    wanted = _options()
    worlds = [BY_NAME[name] for name in wanted.worlds.split(",")] if wanted.worlds else list(BY_NAME.values())
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: threads only get in each other's way
    with ProcessPoolExecutor(wanted.jobs, mp_context=get_context("spawn")) as pool:
        results = [_one_world(pool, world, wanted.batches) for world in worlds]
    page = as_markdown(results, wanted.batches)
    print(page)
    if wanted.write:
        Path(wanted.write).write_text(page, encoding="utf-8")
    return 1 if any(r.broken for r in results) else 0


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.batch", description=__doc__)
    parser.add_argument("--batches", type=int, default=100, help="batches a world, and as many with an odd band")
    parser.add_argument("--worlds", default="", help=f"some of: {', '.join(BY_NAME)}")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--write", default="", metavar="FILE", help="also write the tables to a file")
    return parser.parse_args()


def _one_world(pool: ProcessPoolExecutor, world: BatchWorld, batches: int) -> Result:
    started = time.monotonic()
    result = Result(world, _score(pool, world, batches), _score(pool, with_odd_band(world), batches))
    word = "; ".join(result.broken) or "all kept"
    print(f"{world.name}: {word} ({time.monotonic() - started:.0f} s)", file=sys.stderr, flush=True)
    return result


def _score(pool: ProcessPoolExecutor, world: BatchWorld, batches: int) -> Score:
    return score(pool.map(partial(try_batch, world), range(batches), chunksize=5))


if __name__ == "__main__":
    sys.exit(main())
