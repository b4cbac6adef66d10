"""Every number of every file at its extremes: one sentence, or a finite and sane answer; never nan, never nonsense."""

import json
import os
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import tomli_w

from calib.profile.document import save_profile
from calib.verbs.app import run
from tests.profile.invented import document
from tests.use.rig.made import band_text, linear, rig_text
from tests.verbs.leaves import all_pushed

Capture = pytest.CaptureFixture[str]
STRONGEST = 1e6  # [N] what a profile may hold
HEAVIEST = 5e5  # [kg] of which so many bands may hang on a bar, and what may lie on it


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def sane(told: Any, name: str = "") -> Iterator[str]:
    """What is wrong with an answer."""
    if isinstance(told, dict):
        for key, value in told.items():
            yield from sane(value, name if isinstance(value, int | float) and key in ("left", "right") else key)
    elif isinstance(told, list):
        for value in told:
            yield from sane(value, name)
    elif isinstance(told, float | int) and not isinstance(told, bool):
        if name in ("force_N", "tension_N") and not 0 <= told <= STRONGEST:
            yield f"{name} {told}"
        if name == "bar_load_kg" and not 0 <= told <= HEAVIEST:
            yield f"{name} {told}"
        if name.startswith(("u_", "u95_")) and told < 0:
            yield f"{name} {told}"


def base(arguments: list[str], capsys: Capture) -> None:
    """Nothing is wrong with what is not pushed: else every refusal would prove nothing."""
    status = run(arguments)
    said = capsys.readouterr()
    assert status == 0, said.err
    assert not list(sane(json.loads(said.out)))


def answered(arguments: list[str], capsys: Capture) -> str:
    """What went wrong with an answer or a refusal; empty where nothing did."""
    status = run(arguments)
    said = capsys.readouterr()
    if status == 0:
        told = json.loads(said.out, parse_constant=lambda text: pytest.fail(f"{text} in an answer"))
        return ", ".join(sane(told))
    refusal = [line for line in said.err.splitlines() if line.startswith("bandcurve: ")]
    return "" if len(refusal) == 1 and "rror 1" not in said.err and "Traceback" not in said.err else said.err


def profile() -> dict[str, Any]:
    made = document(points=12)
    made["hysteresis"] = {
        "from_m": 1.2, "to_m": 2.0, "energy_in_J": 60.0, "energy_lost_J": 6.0, "loss_ratio": 0.1,
        "u_loss_ratio": 0.01, "set_m": 0.002,
    }  # fmt: skip
    made["check_load"] = {"id": "P3", "shown_N": 98.0, "u_N": 0.1}
    made["band"] |= {"mass_kg": 0.3, "width_m": 0.04, "layers": 3}
    return made


def test_every_number_of_a_profile(here: Path, capsys: Capture) -> None:
    wrong = []
    file = here / "B.profile.json"
    asked = (["predict", str(file), "--length", "1.6m"], ["predict", str(file), "--force", "12kg"],
             ["show", str(file)], ["export", str(file)])  # fmt: skip
    file.write_text(json.dumps(profile()))
    for words in asked:
        base([*words, "--json"], capsys)
    for i, (name, made) in enumerate(every(all_pushed(profile()), 2)):
        file.write_text(json.dumps(made))
        if trouble := answered([*asked[i % len(asked)], "--json"], capsys):
            wrong.append(f"{name}: {trouble}")
    assert not wrong, "\n".join(wrong)


def test_every_number_of_a_profile_that_is_not_of_its_tables_in_a_rig(here: Path, capsys: Capture) -> None:
    """Those of the tables are checked against each other when it is read."""
    wrong = []
    bands = (band_text(anchor_mm=100, side=side) for side in ("left", "right"))
    (here / "a.rig.toml").write_text(rig_text(*bands, bottom=1350, top=1900))
    (here / "B.profile.json").write_text(json.dumps(profile()))
    base(["rig", "a.rig.toml", "--json"], capsys)
    for name, made in every(all_pushed(profile()), 2):
        if name.startswith(("branches", "factors", "rest_N", "budget")):
            continue
        (here / "B.profile.json").write_text(json.dumps(made))
        if trouble := answered(["rig", "a.rig.toml", "--json"], capsys):
            wrong.append(f"{name}: {trouble}")
    assert not wrong, "\n".join(wrong)


def test_a_coefficient_of_temperature_in_per_cent_is_refused(here: Path, capsys: Capture) -> None:
    made = profile()
    made["temperature_coefficient"]["per_K"] = 0.25
    (here / "B.profile.json").write_text(json.dumps(made))
    assert run(["predict", "B.profile.json", "--length", "1.6m"]) == 1
    assert "temperature_coefficient.per_K: should be less than or equal to 0.02, not 0.25" in capsys.readouterr().err


def test_every_number_of_a_rig(here: Path, capsys: Capture) -> None:
    wrong = []
    save_profile(linear(), here / "B.profile.json")
    below = (band_text(side=s, sideways_mm=20, fore_mm=10) for s in ("left", "right"))
    made = tomllib.loads(rig_text(*below, anchor="[anchor]\nholds_kg = 200\nfootprint_mm = 400\n"))
    (here / "a.rig.toml").write_text(tomli_w.dumps(made))
    base(["rig", "a.rig.toml", "--json", "--extrapolate"], capsys)
    for name, pushed in every(all_pushed(made), 3):
        (here / "a.rig.toml").write_text(tomli_w.dumps(pushed))
        if trouble := answered(["rig", "a.rig.toml", "--json", "--extrapolate"], capsys):
            wrong.append(f"{name}: {trouble}")
    assert not wrong, "\n".join(wrong)


def run_text(head: dict[str, Any], rows: str) -> str:
    """A run of its head as a table and its rows as text."""
    return "".join(f"# {line}\n" for line in tomli_w.dumps(head).splitlines()) + rows


def a_run() -> tuple[dict[str, Any], str]:
    """Head and rows of one of the invented sample runs, the head with every number it can have."""
    lines = (Path(__file__).parents[2] / "sample_runs" / "KNEE.run.csv").read_text("utf-8").splitlines(keepends=True)
    top = [line[2:] for line in lines if line.startswith("# ")]
    return tomllib.loads("".join(top)), "".join(line for line in lines if not line.startswith("#"))


def every(found: Iterator[tuple[str, Any]], step: int) -> Iterator[tuple[str, Any]]:
    """Every so-manieth, so each number has some of its extremes; `python -m tests.campaigns.extremes` takes all."""
    yield from list(found)[:: int(os.environ.get("EXTREMES_STEP", step))]


def test_every_number_of_the_head_of_a_run(here: Path, capsys: Capture) -> None:
    head, rows = a_run()
    (here / "KNEE.run.csv").write_text(run_text(head, rows), "utf-8")
    base(["fit", "KNEE.run.csv", "--json"], capsys)
    wrong = []
    for i, (name, made) in enumerate(every(all_pushed(head), 7)):
        (here / f"{i}.run.csv").write_text(run_text(made, rows), "utf-8")
        if trouble := answered(["fit", f"{i}.run.csv", "--json", "--out", str(i)], capsys):
            wrong.append(f"{name}: {trouble}")
    assert not wrong, "\n".join(wrong)


def test_every_number_of_a_scale(here: Path, capsys: Capture) -> None:
    head, rows = a_run()
    (here / "KNEE.run.csv").write_text(run_text(head, rows), "utf-8")
    asked = ["scale", "new", head["scale"]["id"], "--resolution", "0.05kg", "--capacity", "50kg"]
    assert run(asked) == 0
    table = here / "t.csv"
    table.write_text("known_kg,shown_kg,branch\n0,0,up\n10,10.1,up\n20,20.15,up\n10,10.1,down\n0,0,down\n", "utf-8")
    file = here / f"{head['scale']['id']}.scale.json"
    assert run(["scale", "check", str(file), "--from", str(table), "--loads-kind", "weighed"]) == 0
    capsys.readouterr()
    made = json.loads(file.read_text())
    base(["fit", "KNEE.run.csv", "--scale", str(file), "--json", "--out", "base"], capsys)
    wrong = []
    for i, (name, pushed) in enumerate(every(all_pushed(made), 7)):
        file.write_text(json.dumps(pushed))
        if trouble := answered(["fit", "KNEE.run.csv", "--scale", str(file), "--json", "--out", str(i)], capsys):
            wrong.append(f"{name}: {trouble}")
    assert not wrong, "\n".join(wrong)
