"""How long things take on this machine: `python -m tests.campaigns.benchmark [--write docs/speed.md]`. It never fails.

Whole commands are timed in a fresh process, the fit itself in this one; medians, interpreter included.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import count
from pathlib import Path

import numpy as np

from calib.acquire.files.run_file import RunWriter
from calib.fit.curve.estimate import fit_runs
from calib.records import Run
from tests.fit.curve.made_runs import readings, run

TARGETS = {
    "bandcurve --help": 100,
    "bandcurve predict": 250,
    "bandcurve fit, one run of 45 readings": 700,
    "bandcurve show --figure": 1300,
    "the fit in-process, 45 readings": 25,
    "the fit in-process, 10,000 readings": 60,
}  # ms


HEAD = """# Speed

Medians on two ordinary cores, start of the interpreter included, printed by `python -m tests.campaigns.benchmark`.
"""


def main() -> None:
    """Time everything, print a table, write it where asked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--write", type=Path, help="also write the table to this file")
    options = parser.parse_args()
    rows = list(_measure())
    lines = [f"| {name} | {taken:.0f} | {TARGETS[name]} |" for name, taken in rows]
    table = "\n".join(["| what | median ms | aim ms |", "|---|---|---|", *lines])
    print(table)
    if options.write:
        options.write.write_text(f"{HEAD}\n{table}\n", encoding="utf-8")


def _measure() -> list[tuple[str, float]]:
    one = run(readings(3, noise=0.003))
    trace = run(readings(2, tuple(np.round(np.linspace(1.1, 2.3, 2500), 5)), noise=0.003))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "B1.run.csv"
        with RunWriter.create(file, one.head) as writer:
            for row in one.rows:
                writer.append(row)
        profile = str(Path(folder) / "B1.profile.json")
        fit = _command("fit", str(file), "--out", folder)
        return [
            ("bandcurve --help", _command("--help")),
            ("bandcurve fit, one run of 45 readings", fit),
            ("bandcurve predict", _command("predict", profile, "--length", "1.6m")),
            ("bandcurve show --figure", _figure(profile, Path(folder))),
            ("the fit in-process, 45 readings", _median(lambda: _fit(one), 30)),
            ("the fit in-process, 10,000 readings", _median(lambda: _fit(trace), 10)),
        ]


def _fit(one: Run) -> None:
    fit_runs([one])


def _command(*arguments: str) -> float:
    def start() -> None:
        subprocess.run([sys.executable, "-m", "calib", *arguments], check=True, capture_output=True)

    return _median(start, 9)


def _figure(profile: str, folder: Path) -> float:
    """As `_command`, to a new file each time: nothing is overwritten."""
    names = count()

    def start() -> None:
        figure = str(folder / f"{next(names)}.png")
        subprocess.run(
            [sys.executable, "-m", "calib", "show", profile, "--figure", figure], check=True, capture_output=True
        )

    return _median(start, 9)


def _median(action: Callable[[], None], times: int) -> float:
    """Median duration, one warm-up first. [ms]"""
    action()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return 1000 * statistics.median(taken)


if __name__ == "__main__":
    main()
