"""Attack everything and write the page; exit status 1 where anything was lost or went wrong.

python -m tests.campaigns.attack --write docs/attack.md     # ten minutes or so
python -m tests.campaigns.attack --effort 0                 # as in the tests, some seconds
"""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it; before numpy is loaded

from calib.acquire.files import spreadsheet
from tests.campaigns.attack import cut, growth, mutated, page, stream, together, workers
from tests.campaigns.attack.tally import Tally


def assaults(effort: int, seed: int) -> Iterator[Callable[[], Tally]]:
    """All of them; 0 takes some seconds, 1 some minutes."""
    rng, many = Random(seed), max(1, 40 * effort)
    yield lambda: mutated.structure(rng, 12 * many)
    yield lambda: mutated.numbers(rng, 0.02 if effort == 0 else 1.0)
    for how in ("killed", "power cut", "disk full"):
        yield lambda how=how: cut.cut_short(how)  # type: ignore[misc]
    yield lambda: together.at_once(3 if effort == 0 else 40, 2 if effort == 0 else 5)
    yield lambda: workers.killed_workers(rng, 2 if effort == 0 else 200)
    yield lambda: stream.day(rng, 0.02 if effort == 0 else 24.0)
    yield lambda: stream.recordings(1 if effort == 0 else 8 * effort)
    yield lambda: page.requests(rng, 40 * many)


def run(effort: int, seed: int) -> list[Tally]:
    """Run all and say how each went."""
    done = []
    for assault in assaults(effort, seed):
        began = time.process_time()
        done.append(assault())
        print(f"{done[-1].told()} ({time.process_time() - began:.1f} s of this process)", flush=True)
    return done


def page_of(done: list[Tally], sizes: list[growth.Growth], seed: int) -> str:
    """The page."""
    rows = "\n".join(
        f"| {t.what} | {t.tried} | {t.refused or ''} | {t.survived} | {t.lost} | {t.remark} |" for t in done
    )
    grown = "\n".join(
        f"| {s.rows} | {s.import_s:.2f} | {s.import_mb:.0f} | {s.show_s:.2f} | {s.show_mb:.0f} |" for s in sizes
    )
    most = spreadsheet.MOST_UNPACKED_ODS, spreadsheet.MOST_UNPACKED_XLSX, spreadsheet.MOST_PICTURES
    limits = [size / 1e6 for size in most]
    tried, lost = sum(t.tried for t in done), sum(t.lost for t in done)
    return f"""# Under attack

Made by `python -m tests.campaigns.attack --write docs/attack.md` (seed {seed}). Tried: {tried}. Survived:
{sum(t.survived for t in done)}. **Lost: {lost}.**

*Survived* means: a sane answer, or a refusal in one sentence; what had been acknowledged is there afterwards; nothing
is left beside it after the next write. *Lost* counts entries that had been acknowledged and were not there.

| what | tried | refused in one sentence | survived | lost | |
|---|---|---|---|---|---|
{rows}

A kill ends the process at the n-th call of the system that writes, for every n. A power cut besides takes half of what
was written since the last sync. A full disk refuses that call and all later ones but deletions. Each runs in a process
of its own on a file that is new and on one with entries.

That each protection is needed: `python -m tests.campaigns.mutations` takes it out and names the test that fails.

## How it grows

A table of so many rows imported, its fit included, and the run of it shown; the best of three, on a machine that others
used too. Memory is an upper bound: none shows less than the campaign itself held.
Processor time grows as rows to the power of {growth.exponent(sizes):.2f}.

| rows | import, s | MB | show, s | MB |
|---|---|---|---|---|
{grown}

## Workbooks

A workbook is packed: a few kilobytes may unpack to gigabytes. Looked at before anything is unpacked:
{limits[0]:.0f} MB for an .ods and {limits[1]:.0f} MB for an .xlsx without pictures, {limits[2]:.0f} MB of pictures.
Then {spreadsheet.MOST_ROWS} rows a sheet, of which {spreadsheet.MOST_COLUMNS} columns are read. More is refused in one
sentence.

## Which systems

Run: Linux, Python 3.11. Acted out by stand-ins on Linux (tests/floor/test_system.py), never run on the system itself:
Windows' keys and locks (`msvcrt`), files that a scanner keeps busy, folders that cannot be synced, no `termios` and no
`fcntl`; names that differ only in case, which Windows and macOS take for one file.

## What is not held off

- Ctrl-C in the first hundredths of a second, while the interpreter itself starts, shows the interpreter's own lines.
- On a disk that cannot lock (some network drives) two programs that write one file at the same moment may lose the
  entry of one of them; the file stays whole.
- A disk that says it has synced and has not.
"""


def main() -> int:
    """Attack, print, write where asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.attack", description=__doc__)
    parser.add_argument("--effort", type=int, default=1, help="0 takes some seconds, 1 some minutes, more is longer")
    parser.add_argument("--seed", type=int, default=1, help="of everything that is left to chance")
    parser.add_argument("--write", type=Path, help="also write the page to this file")
    options = parser.parse_args()
    done = run(options.effort, options.seed)
    if options.write:
        options.write.write_text(page_of(done, growth.grown(), options.seed), encoding="utf-8")
    return 1 if any(t.troubles or t.lost for t in done) else 0


if __name__ == "__main__":
    sys.exit(main())
