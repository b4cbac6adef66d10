"""A run of three lengths at a made-up load cell, and the cell's scale file."""

import json
from dataclasses import replace
from pathlib import Path

from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from tests.acquire.recording.test_state_machine import begun

PER_NEWTON, ZERO = 1097.0, 84210.0  # counts
SLACK_S = 26.0  # until the first pull


def at_a_cell(folder: Path) -> None:
    """A run of three lengths, held two seconds, and the cell's scale file."""
    begun_ = begun(settings=(1.2, 1.5, 1.8), cycles=1, way_back=False, closing=False, capacity=2000.0).head
    procedure = replace(begun_.procedure, dwell_s=2.0)
    cell = {"cell": {"grip": "strap", "line": "", "unit": "counts"}}
    head = replace(begun_, procedure=procedure, extensions=begun_.extensions | cell)
    new_writer(folder / "B1.run.csv", Recording(head)).close()
    scale = {
        "format": "bandcurve-scale/1",
        "id": "cell",
        "kind": "load-cell",
        "resolution_N": 0.01,
        "capacity_N": 2000.0,
        "counts": {"zero_N": -ZERO / PER_NEWTON, "per_count_N": 1 / PER_NEWTON},
    }
    (folder / "cell.scale.json").write_text(json.dumps(scale), "utf-8")
