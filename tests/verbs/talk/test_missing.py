"""A command line that lacks something: at a terminal it is asked for, elsewhere refused."""

import io
import json
import sys
from pathlib import Path

import pytest

from calib.profile.store.memory import recall
from calib.verbs.app import run
from calib.verbs.rig.rig_place import LAST, PLATES
from tests.profile.store.folders import put
from tests.use.rig.made import band_text, rig_text


class Typed(io.StringIO):
    """Lines of somebody at a keyboard."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    for name, level in (("B07", 1.0), ("B08", 1.02)):
        put(tmp_path / f"{name}.profile.json", name, level, "2026-03-01")
    sides = [band_text(side=s, profile=f"{b}.profile.json") for s, b in (("left", "B07"), ("right", "B08"))]
    for name, top in (("press", 1850), ("squat", 1840)):
        (tmp_path / f"{name}.rig.toml").write_text(rig_text(*sides, bottom=1350, top=top), "utf-8")
    lifters = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg\nAna,1350,1850,60,80\n"
    (tmp_path / "evening.csv").write_text(lifters, "utf-8")
    return tmp_path


def typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr(sys, "stdin", Typed("".join(f"{line}\n" for line in lines)))


def test_a_length_is_asked_for_and_a_band_chosen_by_its_number(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "?", "2", "1.5 m")
    assert run(["predict"]) == 0
    printed = capsys.readouterr()
    assert "B08 at half-path length 1.500 m" in printed.out
    assert "A band's name, such as B07" in printed.err  # the answer to ?


def test_what_cannot_be_read_is_said_and_asked_again(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "", "many", "4")
    assert run(["batch", "new"]) == 1  # the talk begins, and its input ends
    said = capsys.readouterr().err
    assert said.count("How many bands") == 2
    assert "How will you measure?" in said
    assert not (place / "box").exists()


def test_a_line_up_asks_for_its_table_and_its_place(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "1", "2")
    assert run(["lineup"]) == 0
    printed = capsys.readouterr()
    assert "In which rig?" in printed.err
    assert "Ana" in printed.out


def test_the_rig_last_stood_in_is_offered_and_the_plates_of_last_time(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed(monkeypatch, "squat.rig.toml")
    assert run(["rig"]) == 0
    typed(monkeypatch)
    assert run(["rig", "solve", "squat.rig.toml", "--top", "80", "--plates", "20x4,10x2"]) == 0
    assert {k: v.value for k, v in recall(place).items()} == {LAST: "squat.rig.toml", PLATES: "20kgx4,10kgx2"}
    capsys.readouterr()
    typed(monkeypatch, "", "")
    assert run(["rig", "solve", "--top", "80"]) == 0
    said = capsys.readouterr().err
    assert "[squat.rig.toml]" in said
    assert "Plates as last time, 20kgx4,10kgx2?" in said


def test_nothing_is_asked_or_remembered_without_a_keyboard_or_for_a_program(
    place: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("squat.rig.toml\n"))
    assert run(["rig", "show"]) == 2
    assert run(["rig", "show", "squat.rig.toml"]) == 0
    typed(monkeypatch, "1", "1")
    capsys.readouterr()
    assert run(["predict", "--json"]) == 2
    assert json.loads(capsys.readouterr().out)["format"].startswith("bandcurve-answer/")
    assert not (place / "bandcurve.memory.json").exists()


def test_pairs_are_made_of_the_whole_folder(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["pair"]) == 0
    assert "B07 + B08" in capsys.readouterr().out
