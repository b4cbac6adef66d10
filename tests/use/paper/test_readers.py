"""The readers of docs/readers.md say what the library says; a tool that is not installed is a reason to skip."""

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from calib.profile.document import load_profile
from calib.profile.exports import curve_csv
from tests.profile.invented import document

PAGE = (Path(__file__).parents[3] / "docs" / "readers.md").read_text("utf-8")


def _code(language: str) -> str:
    found = re.search(rf"```{language}\n(.*?)```", PAGE, re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "B07.profile.json").write_text(json.dumps(document("B07")))
    (tmp_path / "B07.csv").write_text(curve_csv(load_profile(tmp_path / "B07.profile.json")))
    return tmp_path


def _tool(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed")
    return found


def _says(place: Path, *command: str) -> float:
    return float(subprocess.run(command, cwd=place, capture_output=True, text=True, check=True, timeout=60).stdout)


@pytest.mark.parametrize(("language", "tool", "end"), [("python", "", "py"), ("javascript", "node", "js"),
                                                      ("c", "gcc", "c"), ("r", "Rscript", "R")])  # fmt: skip
def test_a_reader_says_what_the_library_says(language: str, tool: str, end: str, place: Path) -> None:
    program = _tool(tool) if tool else sys.executable
    (place / f"reader.{end}").write_text(_code(language))
    if language == "c":
        built = [program, "-Wall", "-Werror", "-o", "reader", "reader.c"]
        subprocess.run(built, cwd=place, check=True, timeout=60)
        said = _says(place, str(place / "reader"))
    else:
        said = _says(place, program, f"reader.{end}")
    assert said == pytest.approx(load_profile(place / "B07.profile.json").force(1.6), abs=1e-3)


def test_the_formula_of_the_spreadsheet_names_the_columns_of_the_table(place: Path) -> None:
    """What FORECAST, OFFSET and MATCH make of the rows is worked out here; no spreadsheet program is run."""
    rows = [line.split(",") for line in (place / "B07.csv").read_text().splitlines() if not line.startswith("#")]
    head, body = rows[0], [row for row in rows[1:] if row[0] == "loading"]
    assert "ABCDEFG"[head.index("length_m")] == "B"
    assert "ABCDEFG"[head.index("force_N")] == "D"
    assert "OFFSET(D2,MATCH(J1,B2:B100,1)-1" in _code("text")
    at = sum(float(row[1]) <= 1.6 for row in body) - 1
    (x0, f0), (x1, f1) = ((float(body[i][1]), float(body[i][3])) for i in (at, at + 1))
    assert f0 + (1.6 - x0) / (x1 - x0) * (f1 - f0) == pytest.approx(
        load_profile(place / "B07.profile.json").force(1.6), abs=1e-3
    )
