"""Power cut, program killed or disk full at every single call by which each file that grows or is written is written.

In a process of its own the n-th call of the system that writes is the last; then the file must hold everything that was
acknowledged, whole, and the next write must go on and leave nothing beside it.
"""

import errno
import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Literal

from calib.acquire.files.run_file import RunWriter, read_run
from calib.errors import FileError
from calib.profile.store.decide import decide
from calib.profile.store.decisions import NAME as REGISTER
from calib.profile.store.decisions import parse_decisions
from calib.profile.store.log_file import add_entry
from calib.profile.store.memory import recall, remember
from calib.profile.store.uses import KIND, Use, counted_once, parse_uses, row_of
from calib.records import Row
from calib.safe_write import write_atomically
from calib.stamp import stamp
from tests.campaigns.attack.kinds import SAMPLES
from tests.campaigns.attack.tally import Tally

How = Literal["killed", "power cut", "disk full"]
CALLS = ("open", "write", "fsync", "ftruncate", "unlink")
MOST = 40  # calls of one write, far more than there are
GONE = 9


@dataclass(frozen=True)
class Grown:
    """A file, how an entry is added to it, and which entries are there."""

    name: str
    add: Callable[[Path, int], None]
    there: Callable[[Path], set[int]]


def _use(folder: Path, i: int) -> None:
    use = Use("B07", date(2026, 4, 1), i, stamp=stamp())
    add_entry(folder / "B07.uses.csv", KIND, "B07", lambda version: row_of(use, version))


def _uses(folder: Path) -> set[int]:
    path = folder / "B07.uses.csv"
    return {u.reps for u in counted_once(parse_uses(path.read_bytes(), "x"))} if path.exists() else set()


def _noted(folder: Path, i: int) -> None:
    decide(folder, "suspect", "B07", note=f"{i}")


def _notes(folder: Path) -> set[int]:
    path = folder / REGISTER
    return {int(d.note) for d in parse_decisions(path.read_bytes(), "x")} if path.exists() else set()


def _row(folder: Path, i: int) -> None:
    path = folder / "B07.run.csv"
    writer = RunWriter.resume(path)[0] if path.exists() else RunWriter.create(path, _head())
    with writer:
        writer.append(Row(i, "note", note=f"{i}"))


def _head() -> Any:
    return read_run(SAMPLES / "KNEE.run.csv").head


def _rows(folder: Path) -> set[int]:
    path = folder / "B07.run.csv"
    return {row.number for row in read_run(path).rows} if path.exists() else set()


def _whole(folder: Path, i: int) -> None:
    write_atomically(folder / "x.json", f"{i} " * 5000 + "end")


def _read_whole(folder: Path) -> set[int]:
    path = folder / "x.json"
    if not path.exists():
        return set()
    *numbers, end = path.read_text("utf-8").split()
    assert end == "end" and len(numbers) == 5000 and len(set(numbers)) == 1
    return set(range(1, int(numbers[0]) + 1))  # the newest stands for those before


GROWN = (
    Grown("use log", _use, _uses),
    Grown("register", _noted, _notes),
    Grown("memory", lambda f, i: remember(f, {f"k{i}": i}), lambda f: {found.value for found in recall(f).values()}),
    Grown("run", _row, _rows),
    Grown("profile, written whole", _whole, _read_whole),
)


def cut_short(how: How) -> Tally:
    """Every file that grows, cut short at each call of its writing, begun anew and with entries there."""
    tally = Tally(f"{how} at every call of a write")
    for grown in GROWN:
        for before in (0, 2):
            for at in range(1, MOST):
                with TemporaryDirectory() as name:
                    if _one(grown, Path(name), before, at, how, tally):
                        break
            else:
                tally.count(f"{grown.name}: never came to its end")
    return tally


def _one(grown: Grown, folder: Path, before: int, at: int, how: How, tally: Tally) -> bool:
    """One cut; true where the write came to its end first."""
    for i in range(1, before + 1):
        grown.add(folder, i)
    job = get_context("fork").Process(target=_cut, args=(grown, folder, before + 1, at, how))
    job.start()
    job.join(60)
    acknowledged = set(range(1, before + 1 + (job.exitcode == 0)))
    trouble = ""
    try:
        lost = acknowledged - grown.there(folder)
        tally.lost += len(lost)
        trouble = f"lost {sorted(lost)}" if lost else ""
        grown.add(folder, before + 2)
        left = [p.name for p in folder.iterdir() if p.name.endswith((".part", ".lock"))]
        if before + 2 not in grown.there(folder) or left:
            trouble = f"does not go on; beside it {left}"
    except Exception as error:  # what is looked for
        trouble = f"{type(error).__name__}: {error}"
    if job.exitcode not in (0, 1, GONE):
        trouble = f"ended with {job.exitcode}"
    tally.count(
        f"{grown.name} with {before} entries, call {at}: {trouble}" if trouble else "", refused=job.exitcode == 1
    )
    return job.exitcode == 0


def _cut(grown: Grown, folder: Path, i: int, at: int, how: How) -> None:
    calls = 0

    def limited(real: Callable[..., Any], name: str) -> Callable[..., Any]:
        def call(*given: Any, **named: Any) -> Any:
            nonlocal calls
            if name == "open" and not given[1] & (os.O_WRONLY | os.O_RDWR):
                return real(*given, **named)
            calls += 1
            if calls < at or (how == "disk full" and name == "unlink"):
                return real(*given, **named)
            if how == "disk full":
                raise OSError(errno.ENOSPC, "full")
            if how == "power cut" and name == "fsync":  # half of what was written had reached the disk
                size = os.fstat(given[0]).st_size
                os.truncate(given[0], size - min(size, 20) // 2)
            if how == "power cut" and name == "write":
                real(given[0], given[1][: len(given[1]) // 2])
            os._exit(GONE)

        return call

    for name in CALLS:
        setattr(os, name, limited(getattr(os, name), name))
    for name in ("replace", "unlink"):
        setattr(Path, name, limited(getattr(Path, name), name))
    try:
        grown.add(folder, i)
    except FileError:
        os._exit(1)
    os._exit(0)
