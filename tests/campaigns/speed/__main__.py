"""Measure everything and write the page; exit status 1 where an aim is missed.

python -m tests.campaigns.speed --write docs/speed.md
"""

import argparse
import os
import sys
from collections.abc import Iterable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it; before numpy is loaded

from tests.campaigns.speed.at_work import Work, machine, works
from tests.campaigns.speed.one_fit import SHARES, WORLD, Fitted, compared
from tests.campaigns.speed.starts import Start, starts


def main() -> int:
    """Measure, print, write where asked."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.speed", description=__doc__)
    parser.add_argument("--rounds", type=int, default=15, help="of each command beside a bare interpreter")
    parser.add_argument("--bands", type=int, default=200, help="simulated bands for the fits side by side")
    parser.add_argument("--runs", type=int, default=1000, help="runs of the large box")
    parser.add_argument("--write", type=Path, help="also write the page to this file")
    options = parser.parse_args()
    before = machine()
    begun = starts(options.rounds)
    fitted = compared(options.bands)
    done = works(options.runs)
    page = "\n".join([*_head(before), *_starts(begun), *_fits(fitted, options.bands), *_works(done)]) + "\n"
    print(page)
    if options.write:
        options.write.write_text(page, encoding="utf-8")
    missed = [s.command for s in begun if s.aim and s.ratio > s.aim] + [w.what for w in done if w.met is False]
    print(*(f"aim missed: {what}" for what in missed), sep="\n", file=sys.stderr)
    return 1 if missed else 0


def _head(before: str) -> list[str]:
    return [
        "# Speed",
        "",
        "Made by `python -m tests.campaigns.speed --write docs/speed.md`, in one run, side by side.",
        f"{before} when it began and {machine().rpartition(', ')[2]} when it ended. Times are processor time, user and",
        "system, of all processes, unless the clock is named: who else uses the machine matters less to it.",
        "",
    ]


def _starts(begun: Iterable[Start]) -> list[str]:
    rows = [f"| `bandcurve {s.command}` | {s.ms:.0f} | {s.ratio:.1f} | {_aim(s.aim, s.ratio)} |" for s in begun]
    bare = min(s.bare_ms for s in begun)
    return [
        "## Starting a command",
        "",
        f"Against a bare interpreter (`python -c pass`, {bare:.0f} ms), one after the other in each round: the median",
        "of the ratios, and the least time of the command. What is loaded was compiled before.",
        "",
        "| command | ms | times a bare interpreter | aim |",
        "|---|---|---|---|",
        *rows,
        "",
        "A command line in order loads no typer and a sound file no pydantic: they come for help and for mistakes.",
        "",
    ]


def _aim(aim: float | None, ratio: float) -> str:
    return "" if aim is None else f"{aim:g}, {'met' if ratio <= aim else 'missed'}"


def _fits(fitted: Iterable[Fitted], bands: int) -> list[str]:
    rows = [
        f"| {f.name} | {f.best_ms:.1f} | {f.median_ms:.1f} | {f.held} of {f.of} | {f.held / f.of:.3f} | {f.width:.1%} |"
        for f in fitted
    ]
    return [
        "## One band fitted, beside other ways",
        "",
        f"{bands} simulated bands of the world `{WORLD}` ([coverage](coverage.md)), both branches, {len(SHARES)}",
        "lengths each: how many of the 95 % intervals of the mean curve hold the truth. The others go by the residuals",
        "alone: none knows of the scale's gain or the tape, and their laws are not the band's.",
        "",
        "| way | best ms | median ms | truth held | share | median half-width |",
        "|---|---|---|---|---|---|",
        *rows,
        "",
    ]


def _works(done: Iterable[Work]) -> list[str]:
    met = {True: ", met", False: ", missed", None: ""}
    return [
        "## At work",
        "",
        "| what | took | aim |",
        "|---|---|---|",
        *(f"| {w.what} | {w.took} | {w.aim}{met[w.met]} |" for w in done),
    ]


if __name__ == "__main__":
    sys.exit(main())
