"""`python -m tests.campaigns.port_recording [COUNT]`: the cable pulled, and the program killed, COUNT times each."""

import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.verbs.cell.trials import Ended, killed, type_flat, unplugged


def main(count: int) -> None:
    """Print the table."""
    print("| what | runs | every accepted row in the file | came to the end | worst reading off, % |")
    print("|---|---|---|---|---|")
    with pytest.MonkeyPatch.context() as patch:
        type_flat(patch)
        for name, trial in (("cable pulled", unplugged), ("program killed", killed)):
            ended = [_one(trial, seed) for seed in range(count)]
            whole = sum(
                e.in_file[-1].kind == "flat" and sum(r.kind == "reading" for r in e.in_file) == 9 for e in ended
            )
            print(f"| {name} | {count} | {len(ended)} | {whole} | {max(e.worst_percent for e in ended):.2f} |")


def _one(trial: Callable[[int, Path], Ended], seed: int) -> Ended:
    with TemporaryDirectory() as folder, Path("/dev/null").open("w") as nowhere:
        terminal, sys.stderr = sys.stderr, nowhere
        try:
            return trial(seed, Path(folder))
        finally:
            sys.stderr = terminal


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
