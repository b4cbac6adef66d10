"""Lines broken one at a time: `python -m tests.campaigns.mutations [--only PART]`; exit status 1 where one survives.

Each mutation of the list is put into a copy of the project and the tests named beside it are run there, until the first
that fails. Without a mutation they must all pass. Goldens (pages and profiles that the program itself makes anew) are
no witnesses, and the list may not name them.
"""

import argparse
import importlib.util
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue

from tests.campaigns.mutation_list import MUTATIONS, Mutation

ROOT = Path(__file__).parents[2]
GOLDENS = (  # what they compare with is written by the program
    "verbs/batch/test_walk.py",
    "verbs/rig/test_walks.py",
    "use/paper/test_tutorial.py",
    "sample_runs/test_sample_runs.py",
    "floor/test_api.py",
    "test_developers.py",
)
LONGEST_S = 600


def copy_to(place: Path) -> Path:
    """The project as it lies here, without what git does not track by name."""
    leave = shutil.ignore_patterns(".git", ".venv", "venv", "__pycache__", ".*_cache", "bandcurve-demo")
    return Path(shutil.copytree(ROOT, place / "project", ignore=leave))


def first_failure(project: Path, tests: Sequence[str]) -> str | None:
    """The first of some tests that fails in a copy; None where all pass."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *(f"tests/{t}" for t in tests)]
    try:
        done = subprocess.run(
            command, cwd=project, capture_output=True, text=True, timeout=LONGEST_S, check=False,
            env=os.environ | {"PYTHONPATH": str(project)},
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"no end within {LONGEST_S} s: a test that waits should say so sooner"
    if done.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", done.stdout, flags=re.MULTILINE)
    return found[1] if found else done.stdout[-500:] + done.stderr[-500:]


def caught_by(project: Path, mutation: Mutation) -> str | None:
    """The test that notices a mutation; None where it survives. The copy is as it was afterwards."""
    file = project / "calib" / mutation.file
    text = file.read_text("utf-8")
    try:
        _write(file, text.replace(mutation.good, mutation.broken))
        return first_failure(project, mutation.tests)
    finally:
        _write(file, text)


def _write(file: Path, text: str) -> None:
    """The source, and no bytecode of the one before: two of one size and second look alike to Python."""
    file.write_text(text, "utf-8")
    Path(importlib.util.cache_from_source(str(file))).unlink(missing_ok=True)


def survivors(mutations: Sequence[Mutation], jobs: int) -> list[Mutation]:
    """Run all and print what becomes of each."""
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(jobs) as pool:
        copies: Queue[Path] = Queue()
        for number in range(jobs):
            (Path(folder) / str(number)).mkdir()
            copies.put(copy_to(Path(folder) / str(number)))
        broken = first_failure(copies.queue[0], sorted({t for m in mutations for t in m.tests}))
        if broken:
            sys.exit(f"fails without any mutation: {broken}")

        def one(mutation: Mutation) -> bool:
            project = copies.get()
            try:
                witness = caught_by(project, mutation)
            finally:
                copies.put(project)
            print(f"{witness or 'SURVIVED'}  <-  {mutation.file}: {mutation.broken}", flush=True)
            return witness is None

        return [m for m, alive in zip(mutations, pool.map(one, mutations), strict=True) if alive]


def main() -> None:
    """Run the list, or a part of it."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.mutations", description=__doc__)
    parser.add_argument("--only", default="", help="mutations whose file or text holds this")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    chosen = [m for m in MUTATIONS if asked.only in f"{m.file} {m.good}"]
    left = survivors(chosen, asked.jobs)
    print(f"{len(chosen) - len(left)} of {len(chosen)} caught")
    sys.exit(bool(left))


if __name__ == "__main__":
    main()
