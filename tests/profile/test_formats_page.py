"""docs/formats.md against the program: every example there is read, and says what the page says it says."""

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from calib.acquire.files.run_file import parse_run, read_run
from calib.acquire.files.series_file import parse_series
from calib.plate_set import parse_plates
from calib.profile.batch_document import load_batch
from calib.profile.document import load_profile
from calib.profile.schema import SCHEMAS
from calib.profile.store.decisions import parse_decisions
from calib.profile.store.memory import recall
from calib.profile.store.rechecks import parse_rechecks
from calib.profile.store.uses import parse_uses
from calib.use.answers.parts import FORMAT

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "formats.md").read_text("utf-8")
_JSON_REMARK = re.compile(r"\s//[^\n]*")


def blocks(heading: str) -> list[str]:
    """Examples below a heading that begins so."""
    part = next(p for p in PAGE.split("\n## ") if p.startswith(heading))
    return re.findall(r"```[a-z]*\n(.*?)```", part, re.DOTALL)


def as_json(text: str) -> Any:
    return json.loads(_JSON_REMARK.sub("", text))


def test_the_smallest_run_and_a_row_of_each_kind() -> None:
    smallest, rows = blocks("Run:")
    run = parse_run(smallest.encode(), "B07.run.csv")
    assert [(r.cycle, r.branch) for r in run.readings] == [(1, "loading")] * 2
    assert [r.length for r in run.readings] == pytest.approx([1.134, 1.287])
    head = smallest[: smallest.index("cycle,branch")]
    above = "".join(f"{n},reading,,1,loading,{1100 + 10 * n},{n},{n},,\n" for n in range(1, 21))
    columns, _, below = rows.partition("\n")
    told = parse_run(f"{head}{columns}\n{above}21,reading,,1,loading,1400,9,21,,\n".encode(), "x.run.csv")
    assert len(told.readings) == 21
    kinds = parse_run(f"{head}{columns}\n{above}{below}".encode(), "x.run.csv").rows
    assert [r.kind for r in kinds[20:]] == ["strike", "zero-lost", "skipped", "chosen", "enough"]


@pytest.mark.parametrize(
    ("note", "parted"),
    [("zero lost", True), ("zero lost: after restart", True), ("zero lost after restart", False)],
)
def test_a_foreign_run_of_version_1_is_parted_as_the_page_says(note: str, parted: bool) -> None:
    assert f"`{note}`" in PAGE
    head = blocks("Run:")[0].partition("cycle,branch")[0].replace("bandcurve-run/2", "bandcurve-run/1")
    rows = f'1,zero,,,,0,\n2,reading,1,loading,1134,5.40,\n3,gap,,,,,"{note}"\n4,reading,1,loading,1287,11.45,\n'
    run = parse_run(f"{head}row,kind,cycle,branch,length_mm,force_kgf,note\n{rows}".encode(), "x.run.csv")
    assert (run.rows[2].kind == "zero-lost") is parted


def test_the_series() -> None:
    (text,) = blocks("Series of two bands")
    series = parse_series(text.encode(), "B07+REF.series.csv")
    assert (series.readings[0].total, series.readings[0].ring) == pytest.approx((3.3, 1.652))


def test_the_plates_and_the_batch(tmp_path: Path) -> None:
    plates = as_json(blocks("Set of plates")[0])
    assert parse_plates(json.dumps(plates).encode(), "p").mass(("20a", "20b")) == pytest.approx(39.87)
    Draft202012Validator(SCHEMAS["plates"]()).validate(plates)
    batch = as_json(blocks("Batch:")[0])
    batch["sizes"][0]["bands"] = ["B07"]  # "..." there stands for the others
    (tmp_path / "batch.json").write_text(json.dumps(batch), "utf-8")
    assert load_batch(tmp_path / "batch.json").bands[0].u_level == 0.006
    Draft202012Validator(SCHEMAS["batch"]()).validate(batch)


def test_the_logs_the_register_and_the_memory(tmp_path: Path) -> None:
    uses, rechecks = blocks("Logs of one band")
    assert [(u.reps, u.note) for u in parse_uses(uses.encode(), "u")] == [(60, "squats")]
    (check,) = parse_rechecks(rechecks.encode(), "r")
    assert (check.hung.mass, check.length, *check.hung.fittings) == pytest.approx((10, 1.432, 0.012, 0.012))
    (text,) = blocks("The register of bands")
    (decision,) = parse_decisions(text.encode(), "b")
    assert (decision.event, decision.band, decision.note) == ("retired", "B07", "nick near the seam")
    shape = re.search(r"`(\{\"format\": \"bandcurve-memory/1\".*?\}\}\})`", PAGE)
    assert shape
    filled = (
        shape[1].replace("KEY", '"measuring.gear"').replace("INSTANT", '"2026-04-01T16:20:05Z"').replace("ANY", "1")
    )
    (tmp_path / "bandcurve.memory.json").write_text(filled, "utf-8")
    assert recall(tmp_path)["measuring.gear"].value == 1


def test_the_reader_in_five_lines_and_the_head_of_an_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(ROOT / "sample_runs" / "KNEE.profile.json", tmp_path / "B07.profile.json")
    monkeypatch.chdir(tmp_path)
    exec(compile(blocks("Profile:")[0], "formats.md", "exec"), {})
    force, unit = capsys.readouterr().out.split()
    assert float(force) == pytest.approx(load_profile("B07.profile.json").force(1.6))
    assert unit == "N"
    head = json.loads(_JSON_REMARK.sub("", blocks("Answers:")[0]).replace("...\n", "\n", 1))
    assert (head["format"], list(head)) == (FORMAT, ["format", "question", "band", "day", "findings"])


def test_the_sample_runs_are_in_the_version_the_page_begins_with() -> None:
    for path in (ROOT / "sample_runs").glob("*.run.csv"):
        assert path.read_text("utf-8").startswith(blocks("Run:")[0].partition("\n")[0])
        assert read_run(path).readings
