"""Reads the published tables in tests/data; each file's first lines name its source."""

from pathlib import Path

import numpy as np

from calib.records import Array

DATA = Path(__file__).parents[2] / "data"


def columns(name: str) -> dict[str, Array]:
    """Columns of a numeric table by their heading."""
    lines = [line for line in (DATA / name).read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    values = np.array([[float(cell) for cell in line.split(",")] for line in lines[1:]])
    return dict(zip(lines[0].split(","), values.T, strict=True))
