"""Make the invented runs of this folder again, the same bytes every time: `python sample_runs/make_sample_runs.py`.

Three invented bands are pulled by two invented scales. How they stretch is written here in laws that the fitter does
not use, so that the runs are a fair trial of it: a chain-locking law, a power law over a soft start, and a sum of two
powers. Losses are a bite out of the pull that opens and closes while unloading. `--expected` fits them afterwards
and writes the expected profiles; do that only when a change of results is wanted, and say so in the commit.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from math import exp, sin
from pathlib import Path

import numpy as np

from calib.acquire.files.run_file import RunWriter, columns_for
from calib.half_path import half_path_offset, rest_half_path
from calib.records import Band, CheckLoad, LengthSetup, Loads, Procedure, Row, RunHead, ScaleInUse
from calib.units import G_STANDARD, INCH, POUND

HERE = Path(__file__).parent
SEED = 20260301
NOTE = "invented for the demo, never measured"


@dataclass(frozen=True)
class Truth:
    """An invented band: pull while loading by stretch, and what is lost while unloading."""

    out: Callable[[float], float]  # [N]
    loss: float  # relative, at its largest

    def pull(self, stretch: float, top: float, back: bool) -> float:
        """Pull of both legs. [N]"""
        x = (top - stretch) / (top - 1)
        return self.out(stretch) * (1 - self.loss * (1 - exp(-6 * x)) * (1 - 0.3 * x) * back)


def chain_lock(stretch: float) -> float:
    """A chain that locks at 5.2 times its length, after a Pade form of the inverse Langevin function."""
    r = stretch / 5.2
    return 172.0 * (stretch * (3 - r * r) / (1 - r * r) / 3 - stretch**-2 * 1.02) * 0.62


def soft_start(stretch: float) -> float:
    """A power law over a soft start: a curled band that first has to come straight."""
    x = stretch - 1
    return 205.0 * x**0.62 * (1 - exp(-x / 0.045)) + 6.0 * sin(2.1 * x)


def two_powers(stretch: float) -> float:
    """Ogden's sum, two powers of opposite sign."""
    return 21.0 * (stretch**1.9 - stretch**-1.95) + 19.0 * (stretch**-0.55 - stretch**-2.6) * 2.1


@dataclass(frozen=True)
class Invented:
    """One recording to invent: gear as it truly was, and where readings are taken."""

    file: str
    head: RunHead
    truth: Truth
    lengths_mm: tuple[float, ...]
    cycles: int
    back: bool = True
    true_gain: float = 1.0
    slip: tuple[int, float] | None = None  # which reading was mistyped, and as what multiple
    units: tuple[str, str] = ("mm", "kgf")
    weights: tuple[float, ...] = field(default=())  # [kg] hung instead


HOOK = ScaleInUse(
    id="garage-hook",
    resolution=0.05 * G_STANDARD,
    u_gain=0.004,
    u_zero=0.02 * G_STANDARD,
    check="garage-hook/2026-02-27",
)
DIGITAL = ScaleInUse(
    id="gym-digital",
    resolution=0.02 * G_STANDARD,
    u_gain=0.002,
    u_zero=0.01 * G_STANDARD,
    check="gym-digital/2026-02-20",
)
TAPE = LengthSetup(kind="band-inner", fitting_diameters=(0.012, 0.012), u_reading=0.002, u_common=0.001, tape="T1")
PULLED = Procedure(conditioning_pulls=5, dwell_s=10.0, temperature=19.0)


def invented_runs() -> tuple[Invented, ...]:
    """The three recordings."""
    knee = Band("KNEE", 1.031, 0.002, thickness=0.0045, width=0.029, mass=0.158, material="latex, layered", note=NOTE)
    long = Band("LONG", 1.026, 0.002, thickness=0.0045, width=0.045, mass=0.243, material="latex, layered", note=NOTE)
    thin = Band("THIN", 1.0287, 0.002, thickness=0.0044, width=0.013, mass=0.069, material="latex, layered", note=NOTE)
    tree = LengthSetup(
        kind="centres", fitting_diameters=(0.030, 0.016), u_reading=0.0025, u_common=0.0015, tape="inch-tape"
    )
    plates = Loads(id="gym-plates", u_common=0.002, u_each=0.03, hook_mass=0.4)
    return (
        Invented(
            "KNEE.run.csv",
            RunHead(
                knee, TAPE, HOOK, replace(PULLED, conditioned_to=2.28), None,
                CheckLoad("P10", 10.0, 0.02), datetime(2026, 3, 1, 10, 0, tzinfo=UTC),
            ),
            Truth(chain_lock, 0.13), (1120, 1180, 1270, 1400, 1560, 1760, 1980, 2220), 3,
            true_gain=1.003, slip=(20, 10.0),
        ),
        Invented(
            "LONG.run.csv",
            RunHead(
                long, TAPE, replace(DIGITAL, locks="peak"), replace(PULLED, conditioned_to=1.95), None, None,
                datetime(2026, 3, 2, 17, 30, tzinfo=UTC),
            ),
            Truth(soft_start, 0.1), (1110, 1160, 1230, 1320, 1430, 1560, 1720, 1900), 2,
            back=False, true_gain=0.9985,
        ),
        Invented(
            "THIN.run.csv",
            RunHead(
                thin, tree, None,
                Procedure(
                    "hung-weight", "vertical", None, 5, 2.35, 10.0, 20.0, latitude_deg=47.4, altitude=410.0
                ),
                plates, None, datetime(2026, 3, 7, 9, 15, tzinfo=UTC),
            ),
            Truth(two_powers, 0.09), (), 2,
            units=("in", "lb"), weights=tuple(POUND * w for w in (2.5, 5, 7.5, 10, 12.5, 15, 20, 25)),
        ),
    )  # fmt: skip


def main() -> None:
    """Write the runs, and with `--expected` their profiles."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--expected", action="store_true", help="fit them and write the expected profiles too")
    expected = parser.parse_args().expected
    for i, made in enumerate(invented_runs()):
        rows = _hung(made, SEED + i) if made.weights else _pulled(made, SEED + i)
        path = HERE / made.file
        path.unlink(missing_ok=True)
        mass_unit = made.units[1] if made.weights else None
        columns = columns_for(made.units[0], "kgf" if made.weights else made.units[1], mass_unit)
        with RunWriter.create(path, made.head, columns) as writer:
            for row in rows:
                writer.append(row)
        if expected:
            _expect(path)


def _expect(path: Path) -> None:
    from calib.acquire.files.run_file import read_run
    from calib.fit.curve.estimate import fit_runs
    from calib.profile.build import profile_of
    from calib.profile.document import save_profile

    run = read_run(path)
    save_profile(profile_of(fit_runs([run]), "bandcurve 0.1.0"), HERE / f"{run.head.band.id}.profile.json")


def _pulled(made: Invented, seed: int) -> list[Row]:
    """A scale in line: lengths are set, the scale is read."""
    rng = np.random.default_rng(seed)
    head, scale = made.head, made.head.scale
    assert scale is not None
    offset, rest = _geometry(head)
    top = (made.lengths_mm[-1] * 1e-3 + offset) / rest
    rows: list[Row] = []
    clock = 5.0

    def shown(newton: float) -> float:
        noisy = newton * made.true_gain + rng.normal(0, 0.4 * scale.resolution)
        return round(noisy / scale.resolution) * scale.resolution

    def add(**values: object) -> None:
        rows.append(Row(number=len(rows) + 1, at_s=round(clock, 1), **values))  # type: ignore[arg-type]

    add(kind="zero", force=shown(0.0))
    if head.check_load:
        add(kind="check-load", force=shown(head.check_load.mass * G_STANDARD), note="10 kg plate P10")
    for cycle in range(1, made.cycles + 1):
        gain, shift = 1 + rng.normal(0, 0.005), rng.normal(0, 0.0012)
        for back, lengths in ((False, made.lengths_mm), (True, made.lengths_mm[-2::-1])):
            for mm in lengths if made.back or not back else ():
                clock += 26 + rng.uniform(0, 8)
                taped = mm * 1e-3
                half_path = taped + offset + shift + rng.normal(0, 0.0012)
                force = shown(gain * made.truth.pull(half_path / rest, max(top, half_path / rest), back))
                branch = "unloading" if back else "loading"
                if made.slip and len(rows) + 1 == made.slip[0]:
                    force *= made.slip[1]
                add(kind="reading", cycle=cycle, branch=branch, length=taped, force=force, dwell_s=10.0)
    clock += 60
    add(kind="zero", force=shown(0.0))
    add(kind="flat", length=round(head.band.flat_length + 0.002, 3))
    if head.check_load:
        add(kind="check-load", force=shown(head.check_load.mass * G_STANDARD), note="10 kg plate P10")
    return rows


def _hung(made: Invented, seed: int) -> list[Row]:
    """Hung weights: the load is known, the length is read, here to an eighth of an inch."""
    rng = np.random.default_rng(seed)
    offset, rest = _geometry(made.head)
    band, loads = made.head.band, made.head.loads
    assert loads is not None
    own = (band.mass or 0.0) / 2 + loads.hook_mass
    rows: list[Row] = []
    clock, gravity = 40.0, 9.8069

    def stretch_at(newton: float, top: float, back: bool) -> float:
        low, high = 1.001, 4.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if made.truth.pull(middle, max(top, middle), back) < newton else (low, middle)
        return (low + high) / 2

    for cycle in range(1, made.cycles + 1):
        gain = 1 + rng.normal(0, 0.004)
        top = stretch_at((made.weights[-1] + own) * gravity / gain, 1.001, False)
        for back, weights in ((False, made.weights), (True, made.weights[-2::-1])):
            for mass in weights:
                clock += 35 + rng.uniform(0, 10)
                at = stretch_at((mass + own) * gravity / gain, top, back)
                taped = round((at * rest - offset + rng.normal(0, 0.0015)) / INCH * 8) / 8 * INCH
                branch = "unloading" if back else "loading"
                rows.append(
                    Row(len(rows) + 1, "reading", cycle, branch, taped, mass=mass, at_s=round(clock, 1), dwell_s=10.0)
                )  # fmt: skip
    return rows


def _geometry(head: RunHead) -> tuple[float, float]:
    """What is added to a tape reading, and the rest length. [m]"""
    thickness = head.band.thickness or 0.0
    diameters = head.length.fitting_diameters
    offset = half_path_offset(head.length.kind, sum(diameters) / len(diameters), thickness)
    return offset, rest_half_path(head.band.flat_length, thickness, 2)


if __name__ == "__main__":
    main()
