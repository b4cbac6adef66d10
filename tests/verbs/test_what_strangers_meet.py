"""Closed streams, no home, addresses that ask for more, fields and notes of strangers: one sentence, nothing else."""

import csv
import json
import os
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from calib.acquire.files.run_file import columns_for, read_run, save_run
from calib.profile.store.uses import Use, counted_once, new_log, parse_uses, row_of
from calib.records import Row
from calib.safe_write import FORMULA
from calib.stamp import stamp
from calib.verbs.app import run
from calib.verbs.demo import sample_folder

ROOT = Path(__file__).parents[2]
KNEE = ROOT / "sample_runs" / "KNEE.profile.json"
NOTES = [f"{sign}cmd|' /C calc'!A0" for sign in FORMULA]


def ran(arguments: list[str], close: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, with streams closed as a shell does."""
    command = f'exec "$0" -m calib "$@" {close}'
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("MPL", "XDG"))}
    return subprocess.run(
        ["sh", "-c", command, sys.executable, *arguments],
        capture_output=True,
        text=True,
        env={**kept, "PYTHONPATH": str(ROOT), **environment},
        check=False,
    )


@pytest.mark.skipif(os.name != "posix", reason="closes streams as a POSIX shell does")
@pytest.mark.parametrize("asked", [["--help"], ["predict", str(KNEE), "--length", "1.6m", "--json"]])
def test_a_closed_standard_output_is_one_sentence(asked: list[str]) -> None:
    done = ran(asked, ">&-")
    assert done.returncode == 1
    assert done.stderr == "bandcurve: standard output: is closed; send it to a file or a terminal\n"


@pytest.mark.skipif(os.name != "posix", reason="closes streams as a POSIX shell does")
def test_without_standard_error_nothing_mixes_with_the_answer(tmp_path: Path) -> None:
    done = ran(["predict", str(tmp_path / "none.profile.json"), "--length", "1.6m", "--json"], "2>&-")
    assert done.returncode == 1
    assert json.loads(done.stdout)["error"]


def test_without_a_home_a_picture_is_drawn_and_its_library_says_nothing(tmp_path: Path) -> None:
    nowhere = str(tmp_path / "file")
    (tmp_path / "file").write_text("")
    figure = tmp_path / "k.png"
    asked = ["show", str(KNEE), "--figure", str(figure)]
    done = ran(asked, HOME=nowhere, XDG_CACHE_HOME=nowhere, XDG_CONFIG_HOME=nowhere)
    assert figure.exists()
    assert "atplotlib" not in done.stderr


def test_an_address_that_asks_for_a_log_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["listen", "loop://?logging=debug", "--for", "1"]) == 2
    assert "leave out logging=" in capsys.readouterr().err


def test_the_name_of_an_unknown_field_is_cut(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    document = json.loads(KNEE.read_text("utf-8"))
    document["band"]["x" * 100_000] = 1
    (tmp_path / "x.profile.json").write_text(json.dumps(document))
    assert run(["show", str(tmp_path / "x.profile.json")]) == 1
    assert len(capsys.readouterr().err) < 250


@pytest.mark.parametrize("note", NOTES)
def test_a_note_is_no_formula_in_any_table_and_reads_back_as_it_was(note: str, tmp_path: Path) -> None:
    head = read_run(sample_folder() / "KNEE.run.csv").head
    path = tmp_path / "B07.run.csv"
    save_run(path, head, columns_for(), [Row(1, "note", note=note)])
    log = new_log("B07") + row_of(Use("B07", date(2026, 4, 1), 5, note, stamp()), 2)
    for text in (path.read_text("utf-8"), log):
        cells = [cell for line in csv.reader(text.splitlines()) for cell in line if "cmd" in cell]
        assert cells and not any(cell.startswith(FORMULA) for cell in cells)
    assert read_run(path).rows[0].note == note
    assert counted_once(parse_uses(log.encode(), "x"))[0].note == note


def test_a_demo_that_was_interrupted_goes_on_and_a_whole_one_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    folder.mkdir()
    for name in ("KNEE.run.csv", "LONG.run.csv"):
        (folder / name).write_bytes((sample_folder() / name).read_bytes())
    assert run(["demo", str(folder), "--json"]) == 0
    assert run(["demo", str(folder), "--json"]) == 1
    (folder / "THIN.png").unlink()
    (folder / "KNEE.run.csv").write_text("somebody's own")
    assert run(["demo", str(folder), "--json"]) == 1
