"""Runs whose readings are chosen one by one, changed by hand or on a full disk. Readings invented."""

import subprocess
import sys
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from tests.verbs.batch.test_box import bandcurve, pull
from tests.verbs.pseudo_terminal import ROOT

ANSWERS = "\n50 kg\n0.05\n\n\n\n\n0\n" + f"{pull('B01', 1145):.2f}\n{pull('B01', 1660):.2f}\n"
ASKED = ",chosen,,1,loading,"


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A recording broken off after two readings, the third asked for."""
    folder = tmp_path_factory.mktemp("until")
    options = ("--flat", "1000mm", "--until", "5%", "--no-fit", "--no-countdown")
    done = bandcurve(folder, "record", "B1", *options, typed=ANSWERS)
    assert done.returncode == 1, done.stderr
    data = (folder / "B1.run.csv").read_bytes()
    assert data.count(ASKED.encode()) == 3, data
    return data


def resumed(folder: Path, data: bytes) -> subprocess.CompletedProcess[str]:
    (folder / "B1.run.csv").write_bytes(data)
    return bandcurve(folder, "record", "--resume", "B1.run.csv", "--no-fit", "--no-countdown", typed="stop\n0\n\n")


@pytest.mark.parametrize(
    ("column", "text"),
    [
        *(("cycle", x) for x in ("", "0", "-1", "x", "99999999999")),
        *(("branch", x) for x in ("", "sideways")),
        *(("length_mm", x) for x in ("", "nan", "-3", "0", "1e9")),
    ],
)
def test_a_row_that_asks_for_nonsense_is_named_with_its_remedy(
    begun: bytes, tmp_path: Path, column: str, text: str
) -> None:
    lines = begun.decode().split("\n")
    header = next(line for line in lines if line.startswith("row,")).split(",")
    at = max(i for i, line in enumerate(lines) if ",chosen," in line)
    cells = lines[at].split(",")
    cells[header.index(column)] = text
    data = "\n".join([*lines[:at], ",".join(cells), *lines[at + 1 :]]).encode()
    done = resumed(tmp_path, data)
    assert "Traceback" not in done.stderr
    assert (tmp_path / "B1.run.csv").read_bytes() == data
    assert done.returncode == 1
    assert "B1.run.csv:" in done.stderr


@pytest.mark.parametrize(
    "until", ["5", '"x"', "{}", "{U = 0}", "{U = true}", '{U = 0.05, over_m = ["a", 1]}', "{U = 2}"]
)
def test_a_head_that_aims_at_nothing_is_said_and_nothing_is_closed(begun: bytes, tmp_path: Path, until: str) -> None:
    lines = begun.decode().split("\n")
    at = lines.index("# [extensions.until]")
    assert lines[at + 1].startswith("# U = ")
    del lines[at : at + 2]
    lines.insert(lines.index("# [extensions]") + 1, f"# until = {until}")
    data = "\n".join(lines).encode()
    done = resumed(tmp_path, data)
    assert done.returncode == 1
    assert "start a new run with --until" in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "B1.run.csv").read_bytes() == data


def test_a_disk_that_stays_full_is_not_called_safe(tmp_path: Path) -> None:
    """The input ends while another place is asked for: what is not on the disk is shown to be written down."""
    script = (
        "import os, sys, errno\n"
        "real = os.write\n"
        "def full(fd, data):\n"
        "    if b',1660,' in bytes(data):\n"
        "        raise OSError(errno.ENOSPC, 'full')\n"
        "    return real(fd, data)\n"
        "os.write = full\n"
        "from calib.verbs.app import run\n"
        "sys.exit(run(sys.argv[1:]))"
    )
    options = ["B1", "--flat", "1000mm", "--until", "5%", "--no-fit", "--no-countdown"]
    command = [sys.executable, "-c", script, "record", *options]
    done = subprocess.run(
        command,
        input=ANSWERS,
        capture_output=True,
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT)},
        timeout=120,
        check=False,
        text=True,
    )
    assert done.returncode == 1
    after = done.stderr[done.stderr.index("NOT ON DISK") :]
    assert "1660 mm" in after
    assert "Not everything above is in B1.run.csv" in after
    assert "safe" not in after
    assert len(read_run(tmp_path / "B1.run.csv").readings) == 1
