"""Processor time of whole programs, each beside a bare interpreter in the same moment."""

import os
import re
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from shutil import copy
from typing import NamedTuple

SAMPLES = Path(__file__).parents[3] / "sample_runs"
START = "import sys; from calib.__main__ import main; sys.exit(main())"  # as the installed command does
RIG = """format = "bandcurve-rig/1"
[bar]
mass_kg = 20
plates_kg = 40
bottom_mm = 1400
top_mm = 1900
""" + "".join(
    f"""[[band]]
side = "{side}"
profile = "KNEE.profile.json"
from = "below"
arrangement = "straight"
anchor_height_mm = 80
anchor_diameter_mm = 25
sleeve_diameter_mm = 50
"""
    for side in ("left", "right")
)


class Start(NamedTuple):
    """One command beside a bare interpreter."""

    command: str
    ms: float  # of processor time, least of all rounds
    bare_ms: float  # likewise
    ratio: float  # median over the rounds
    aim: float | None


def starts(rounds: int) -> list[Start]:
    """Time every command."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        for name in ("KNEE", "THIN"):
            copy(SAMPLES / f"{name}.profile.json", folder)
            copy(SAMPLES / f"{name}.run.csv", folder)
        later = (folder / "KNEE.profile.json").read_text("utf-8").replace("2026-03-01", "2027-03-05")
        later = re.sub(r'"sha256": "[0-9a-f]{64}"', f'"sha256": "{64 * "0"}"', later)  # of another run
        (folder / "KNEE.2027-03-05.profile.json").write_text(later, "utf-8")
        (folder / "squat.rig.toml").write_text(RIG, "utf-8")
        world = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        world |= {"PYTHONPATH": str(SAMPLES.parent), "PYTHONPYCACHEPREFIX": str(folder / ".compiled")}
        return [_start(line.split(), aim, rounds, folder, world) for line, aim in LINES.items()]


LINES: dict[str, float | None] = {  # and the aim, in times a bare interpreter
    "--help": 3,
    "predict KNEE --length 1.6m": 10,
    "predict KNEE.profile.json --force 15kg --json": 10,
    "show KNEE.profile.json": 15,
    "fit KNEE.run.csv --out new": 30,
    "show KNEE.run.csv": 30,
    "export KNEE.profile.json": None,
    "explain gross-error": None,
    "list": None,
    "history KNEE": None,
    "compare KNEE.profile.json KNEE.2027-03-05.profile.json": None,
    "pair KNEE.profile.json THIN.profile.json": None,
    "rig squat.rig.toml": None,
    "show KNEE.profile.json --figure new.svg": None,
    "schema profile": None,
    "predict --help": None,
}  # showing a run is fitting it


def _start(words: Sequence[str], aim: float | None, rounds: int, folder: Path, world: dict[str, str]) -> Start:
    command, bare = [sys.executable, "-c", START, *words], [sys.executable, "-c", "pass"]
    mine: list[float] = []
    others: list[float] = []
    for turn in range(rounds + 1):
        for made in (*folder.glob("new*/*"), *folder.glob("new*.svg")):
            made.unlink()
        taken = _spent(command, folder, world), _spent(bare, folder, world)
        if turn:  # the first compiles what is loaded
            mine.append(taken[0])
            others.append(taken[1])
    ratio = statistics.median(a / b for a, b in zip(mine, others, strict=True))
    return Start(" ".join(words), min(mine), min(others), ratio, aim)


def _spent(command: Sequence[str], folder: Path, world: dict[str, str]) -> float:
    """Processor time of a program from start to end. [ms]"""
    null = subprocess.DEVNULL
    with subprocess.Popen(command, cwd=folder, env=world, stdin=null, stdout=null, stderr=null) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = status
    if status:
        raise RuntimeError(f"{' '.join(command[3:])} failed")
    return 1e3 * (used.ru_utime + used.ru_stime)
