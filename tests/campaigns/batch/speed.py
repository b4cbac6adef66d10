"""How fast a thousand bands are fitted: `python -m tests.campaigns.batch.speed [--runs 1000]`. It never fails.

Whole commands in fresh processes, start of the interpreter included, on two processes. Where others use the machine the
computing time tells more than the clock: divided by two it is what the clock would show on two quiet cores.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from calib.acquire.files.run_file import RunWriter, columns_for
from tests.campaigns.batch.simulated import draw_batch
from tests.campaigns.batch.worlds import BY_NAME

AIM = 80  # runs a second


@dataclass(frozen=True)
class Taken:
    """What a command took."""

    clock: float  # [s]
    computing: float  # [s] of all its processes
    largest: float  # [MB] memory of the largest of its processes


def main() -> None:
    """Time every command on boxes of different make and size."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.batch.speed", description=__doc__)
    parser.add_argument("--runs", type=int, default=1000, help="bands of the large boxes, one run each")
    runs = parser.parse_args().runs
    print(f"Load of the machine before: {os.getloadavg()[0]:.1f}. Aim: {AIM} a second.\n")
    print("| command | bands | of them in full | clock s | computing s | a second | at two quiet cores | MB |")
    print("|---|---|---|---|---|---|---|---|")
    for bands, full in ((runs // 4, runs // 16), (runs, runs // 4), (runs, runs)):
        for command in ("batch fit", "fit") if full == bands else ("batch fit",):
            with tempfile.TemporaryDirectory() as folder:
                make_box(Path(folder), bands, full)
                taken = timed([*command.split(), *_sources(command, Path(folder)), "--json"])
            print(
                f"| {command} | {bands} | {full} | {taken.clock:.1f} | {taken.computing:.1f} "
                f"| {bands / taken.clock:.0f} | {2 * bands / taken.computing:.0f} | {taken.largest:.0f} |",
                flush=True,
            )


def make_box(folder: Path, bands: int, full: int) -> None:
    """Write a box of runs: the first ones at eight lengths, out and back, twice; the others at three while loading."""
    world = replace(BY_NAME["tube"], bands=bands, full=full)
    for i, run in enumerate(draw_batch(world, 1).runs, 1):
        band = replace(run.head.band, id=f"B{i:05d}")
        head = replace(run.head, band=band, started=datetime(2026, 3, 1, 10, tzinfo=UTC))
        with RunWriter.create(folder / f"{band.id}.run.csv", head, columns_for()) as writer:
            for row in run.rows:
                writer.append(row)


def _sources(command: str, folder: Path) -> list[str]:
    runs = sorted(map(str, folder.glob("*.run.csv")))
    return [str(folder)] if command == "batch fit" else [*runs, "--out", str(folder)]


def timed(arguments: list[str]) -> Taken:
    """Run a command and say what it took."""
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "calib", *arguments], stdout=subprocess.DEVNULL)
    _, _, used = os.wait4(process.pid, 0)
    return Taken(time.perf_counter() - start, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


if __name__ == "__main__":
    main()
