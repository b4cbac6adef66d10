"""The larger pieces of work, each in processor time: a thousand bands, the reader of a line, a rig, plans, the page."""

import os
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from calib.fit.curve.estimate import fit_runs
from tests.campaigns.batch.speed import make_box, timed
from tests.campaigns.lineup_speed import planned
from tests.campaigns.rig_speed import LIFTS, best_ms, rig_ms
from tests.campaigns.serial_lines import line_rates
from tests.campaigns.speed.many_bands import make_folder, view_times
from tests.fit.curve.made_runs import readings, run

SAMPLES = Path(__file__).parents[3] / "sample_runs"
HOST = "127.0.0.1:8765"


class Work(NamedTuple):
    """One piece of work."""

    what: str
    took: str
    aim: str
    met: bool | None = None


def works(bands: int) -> list[Work]:
    """Do all of it."""
    return [*_fits(), *_a_box(bands), *_lines(), *_rigs(), *_plans(), *_page()]


def _fits() -> list[Work]:
    one = run(readings(3, noise=0.003))
    ms = best_ms(lambda: fit_runs([one]), times=20)
    return [Work("one fit in-process, 45 readings", f"{ms:.0f} ms", "20 ms", ms <= 20)]


def _a_box(bands: int) -> list[Work]:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        make_box(folder, bands, bands)
        runs = sorted(map(str, folder.glob("*.run.csv")))
        taken = timed(["fit", *runs, "--out", place, "--json"])
    rate = 2 * bands / taken.computing
    said = f"{taken.clock:.1f} s on the clock, {taken.computing:.1f} s of computing: {rate:.0f} a second on two cores"
    return [Work(f"`fit` of {bands} runs, largest process {taken.largest:.0f} MB", said, "80 a second", rate >= 80)]


def _lines() -> list[Work]:
    rates = [rate for _, rate, _ in line_rates(every=10)]
    said = f"{min(rates):.0f} to {max(rates):.0f} lines a second"
    return [Work(f"the reader of a load cell's line, {len(rates)} ways of printing", said, "")]


def _rigs() -> list[Work]:
    return [
        Work(f"a rig of {count} bands, {lift[0]}, {lift[1]:.0f} to {lift[2]:.0f} mm", f"{ms:.0f} ms", "50 ms", ms <= 50)
        for count in (2, 8)
        for lift in LIFTS
        for ms in [rig_ms(*lift, count)]
    ]


def _plans() -> list[Work]:
    _, busy, _ = planned(1)
    return [Work("`lineup`, forty bands, twenty lifters, one move each", f"{busy:.1f} s", "")]


def _page() -> list[Work]:
    with tempfile.TemporaryDirectory() as place:
        make_folder(Path(place), 200)
        taken = view_times(Path(place))
    return [
        Work(
            f"the page, 200 bands: {what}",
            f"{first:.0f} ms the first time, {again:.0f} ms again",
            "200 ms",
            first <= 200,
        )
        for what, (first, again) in taken.items()
    ]


def machine() -> str:
    """What it ran on."""
    version = ".".join(map(str, sys.version_info[:3]))
    return f"Python {version}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}"
