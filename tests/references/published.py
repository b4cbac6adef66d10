"""Reads the published tables in tests/data; each file's first lines name its source."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calib.records import Array

DATA = Path(__file__).parents[1] / "data"


def columns(name: str) -> dict[str, Array]:
    """Columns of a numeric table by their heading."""
    lines = [line for line in (DATA / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    values = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return dict(zip(lines[0].split(","), values.T, strict=True))


@dataclass(frozen=True)
class Certified:
    """One data set of the NIST Statistical Reference Datasets for nonlinear regression."""

    x: Array
    y: Array
    starts: tuple[Array, Array]
    values: Array
    sds: Array
    sum_of_squares: float
    residual_sd: float


def certified(name: str) -> Certified:
    """Read a NIST StRD file: certified values at "b1 =", data after the second "Data:"."""
    text = (DATA / "strd" / f"{name}.dat").read_text(encoding="ascii")
    rows = np.array([[float(v) for v in m.split()] for m in re.findall(r"^\s*b\d+ =(.*)$", text, re.MULTILINE)])
    data = re.split(r"^Data:\s+y\s+x\s*$", text, flags=re.MULTILINE)[1]
    y, x = np.array([[float(v) for v in line.split()] for line in data.splitlines() if line.strip()]).T
    return Certified(
        x,
        y,
        (rows[:, 0], rows[:, 1]),
        rows[:, 2],
        rows[:, 3],
        _stated(text, "Residual Sum of Squares"),
        _stated(text, "Residual Standard Deviation"),
    )


def _stated(text: str, what: str) -> float:
    found = re.search(rf"{what}:\s+(\S+)", text)
    assert found
    return float(found[1])
