"""How time and memory grow with the rows of a table: imported with its fit, in a process of its own."""

import os
import subprocess
import sys
from math import log
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from tests.acquire.test_long_table import trace

ROWS = (25_000, 75_000, 300_000)
ROOT = Path(__file__).parents[3]
_CODE = """
import resource, sys
from calib.verbs.app import run
status = run(sys.argv[1:])
used = resource.getrusage(resource.RUSAGE_SELF)
print('USED', status, used.ru_utime + used.ru_stime, used.ru_maxrss / 1000)
"""


class Growth(NamedTuple):
    """What one size took."""

    rows: int
    import_s: float  # of a processor
    import_mb: float
    show_s: float
    show_mb: float


def grown(rows: tuple[int, ...] = ROWS) -> list[Growth]:
    """Measure each size, the best of three."""
    return [_one(n) for n in rows]


def exponent(sizes: list[Growth]) -> float:
    """Of the time an import takes beyond the smallest, per row: 1 is in proportion."""
    first, middle, last = (s.import_s for s in sizes[-3:])
    rows = [size.rows for size in sizes[-3:]]
    return log((last - first) / (middle - first)) / log((rows[2] - rows[0]) / (rows[1] - rows[0]))


def _one(rows: int) -> Growth:
    with TemporaryDirectory() as folder:
        (Path(folder) / "hour.csv").write_text(trace(rows, 60))
        options = ["--flat", "1031mm", "--kind", "half-path", "--scale", "hook", "--strands", "2"]
        made = [_run(folder, "import", "hour.csv", "--id", f"H{i}", *options) for i in range(3)]
        shown = [_run(folder, "show", "H0.run.csv") for _ in range(3)]
    return Growth(rows, *map(min, zip(*made, strict=True)), *map(min, zip(*shown, strict=True)))


def _run(folder: str, *arguments: str) -> tuple[float, float]:
    done = subprocess.run(
        [sys.executable, "-c", _CODE, *arguments], cwd=folder, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    status, seconds, megabytes = done.stdout.split("USED")[1].split()
    assert status == "0", done.stderr
    return float(seconds), float(megabytes)
