"""Runs made from a known law, for tests of the fitter: readings without noise unless asked for."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from calib.records import (
    Array,
    Band,
    BranchName,
    LengthSetup,
    Loads,
    Method,
    Procedure,
    Row,
    Run,
    RunHead,
    ScaleInUse,
)
from calib.units import G_STANDARD as KG

FLAT = 1.0
LENGTHS = (1.12, 1.22, 1.35, 1.5, 1.7, 1.9, 2.1, 2.3)
SCALE = ScaleInUse(id="hook", resolution=0.01 * KG, u_gain=0.005, u_zero=0.01 * KG, check="hook/2026-02-27")


def pull(length: Array, branch: BranchName = "loading", top: float = LENGTHS[-1]) -> Array:
    """An invented band of Mooney's law with a loss of a few per cent, flat length 1 m. [N]"""
    stretch = np.asarray(length, float) / FLAT
    up = 110 * (1 + 0.5 / stretch) * (stretch - stretch**-2)
    return up * (1 - 0.08 * (1 - np.exp(-(top - stretch) / 0.3))) if branch == "unloading" else up


def head(**changes: object) -> RunHead:
    """A head for a single strand read at half-path lengths; fields replaced as asked."""
    base = RunHead(
        band=Band(id="B1", flat_length=FLAT, u_flat_length=0.001, strands=1),
        length=LengthSetup(kind="half-path", u_reading=0.001, u_common=0.0007, u_scale=0.0005, tape="T1"),
        scale=SCALE,
        procedure=Procedure(dwell_s=10.0, temperature=20.0),
        started=datetime(2026, 3, 1, 10, tzinfo=UTC),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def readings(
    cycles: int = 2,
    lengths: tuple[float, ...] = LENGTHS,
    way_back: bool = True,
    noise: float = 0.0,
    seed: int = 1,
    shown: Callable[[float], float] = lambda newton: newton,
) -> list[Row]:
    """Rows of a recording, up through the lengths and down through the same ones."""
    rng = np.random.default_rng(seed)
    rows: list[Row] = []
    for cycle in range(1, cycles + 1):
        sweeps: list[tuple[BranchName, tuple[float, ...]]] = [("loading", lengths)]
        if way_back:
            sweeps.append(("unloading", lengths[-2::-1]))
        for branch, places in sweeps:
            for length in places:
                newton = float(pull(np.array(length), branch, lengths[-1])) * (1 + noise * rng.standard_normal())
                rows.append(
                    Row(
                        len(rows) + 1,
                        "reading",
                        cycle,
                        branch,
                        length,
                        shown(newton),
                        dwell_s=10.0,
                        line=len(rows) + 40,
                    )
                )
    return rows


def run(rows: list[Row] | None = None, name: str = "B1.run.csv", **changes: object) -> Run:
    """A run of the invented band."""
    return Run(name, head(**changes), tuple(readings() if rows is None else rows), sha256="0" * 64)


def hung_weights(cycles: int = 2) -> Run:
    """The same band measured by hanging known loads."""
    rows = [replace(r, force=None, mass=(r.force or 0.0) / KG) for r in readings(cycles)]
    loads = Loads(id="plates-1", u_common=0.001, u_each=0.005)
    method: Method = "hung-weight"
    procedure = Procedure(method=method, dwell_s=10.0, temperature=20.0)
    return run(rows, scale=None, loads=loads, procedure=procedure, band=replace(head().band, mass=1e-6))
