"""One rig for several lifters: a line or a table in, one table out; who does not fit is named, the rest are told."""

import json
import re
from pathlib import Path

import pytest

from calib.errors import DataError
from calib.profile.document import save_profile
from calib.use.rig.lifters import Lifter, parse_list, parse_table
from calib.verbs.app import run
from tests.use.rig.made import band_text, rig_text
from tests.verbs.rig.test_command import PRESS, Capture, invented, written

PEOPLE = [("Ana", 1.25, 1.75), ("Bo B.", 1.4, 1.9)]


def rounded(lifters: tuple[Lifter, ...]) -> list[tuple[str, float, float]]:
    return [(one.name, round(one.bottom, 9), round(one.top, 9)) for one in lifters]


@pytest.fixture
def press(tmp_path: Path) -> str:
    save_profile(invented(), tmp_path / "B.profile.json")
    return written(tmp_path, PRESS)


@pytest.mark.parametrize(
    "table",
    [
        "lifter,bottom_mm,top_mm\nAna,1250,1750\nBo B.,1400,1900\n",
        "\ufefftop_m;lifter;bottom_cm;note\r\n1,75;Ana;125;tall\r\n\r\n1.9;Bo B.;140;\r\n",
    ],
)
def test_a_table_as_written_and_as_a_spreadsheet_saves_it(table: str) -> None:
    assert rounded(parse_table(table.encode(), "l.csv")) == PEOPLE


def test_a_list_in_one_line_and_in_feet() -> None:
    assert rounded(parse_list("Ana 125cm 1.75m, Bo B. 1400mm 1.9m,")) == PEOPLE
    cy = parse_list("Cy 4'1 69in")[0]
    assert (cy.bottom, cy.top) == pytest.approx((1.2446, 1.7526))


@pytest.mark.parametrize(
    ("text", "said"),
    [("Ana 1.2m", "not a name and two heights"), ("Ana 120 170", "no unit"), (" , ", "0 lifters")],
)
def test_a_mistake_in_a_list_is_one_sentence(text: str, said: str) -> None:
    with pytest.raises(DataError, match=said):
        parse_list(text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,bottom_mm,top_mm\nAna,1,2\n", r"l\.csv:1: lacks a column"),
        ("lifter,bottom_mm,top_mm\nAna,1250\n", r"l\.csv:2: has 2 of 3 cells"),
        ("lifter,bottom_mm,top_mm\nAna,low,1750\n", r"l\.csv:2: 'low' is not a number"),
        ("", r"l\.csv:1: lacks a column"),
    ],
)
def test_a_mistake_in_a_table_is_named_by_its_line(text: str, said: str) -> None:
    with pytest.raises(DataError, match=said):
        parse_table(text.encode(), "l.csv")


def test_each_lifter_gets_what_the_rig_gives_for_these_heights(press: str, capsys: Capture) -> None:
    assert run(["rig", press, "--lifters", "Bo 1350mm 1900mm, Ana 125cm 1.7m, Far 1.5m 2.6m", "--json"]) == 0
    bo, ana, far = json.loads(capsys.readouterr().out)["lifters"]
    assert run(["rig", press, "--json"]) == 0
    alone = json.loads(capsys.readouterr().out)
    assert bo["rig"]["up"] == alone["up"]
    assert bo["rig"]["up"]["bar_load_kg"][-1] > ana["rig"]["up"]["bar_load_kg"][-1]
    assert 2.0 < far["rig"]["heights_m"][-1] < 2.6  # as far as it was tested
    assert "was tested from" in far["error"]


@pytest.mark.parametrize("unit", ["kg", "lb"])
def test_the_table_has_one_line_a_lifter(unit: str, press: str, capsys: Capture) -> None:
    table = Path(press).with_name("who.csv")
    table.write_text("lifter,bottom_mm,top_mm\nAna,1250,1700\nFar,1500,2600\nLow,500,1000\n")
    assert run(["rig", press, "--lifters", str(table), "--unit", unit]) == 0
    said = capsys.readouterr().out
    (line,) = [line for line in said.splitlines() if line.startswith("  Ana")]
    assert ("1.250 m" if unit == "kg" else "49.21 in") in line
    assert "Far: " in said
    assert "Low: B07 (left and right): slack" in said


def test_a_lifter_low_enough_for_the_bar_to_fly_up_is_named(press: str, capsys: Capture) -> None:
    """Bands from above pull more the lower the bar goes: the same rig is safe for one and not for the other."""
    above = [band_text("straight", 2600, side, source="above") for side in ("left", "right")]
    path = Path(press).with_name("above.rig.toml")
    path.write_text(rig_text(*above, bottom=1300, top=1400).replace("plates_kg = 40", "plates_kg = 5"))
    assert run(["rig", str(path), "--lifters", "Tall 1.35m 1.45m, Low 1.0m 1.4m", "--unit", "lb"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(
        r"Low: with the bar at 1.000 m the bands from above pull \d+\.\d lb more than bar and plates weigh", said
    )
    assert "Tall: " not in said
    assert run(["rig", str(path), "--lifters", "Low 1.0m 1.4m", "--json"]) == 0
    (low,) = json.loads(capsys.readouterr().out)["lifters"]
    assert low["rig"] is None  # a load below zero does not leave the program
    assert "flies up" in low["error"]
    assert run(["rig", str(path), "--lifters", "Mid 1.2m 1.4m", "--json"]) == 0
    (mid,) = json.loads(capsys.readouterr().out)["lifters"]
    assert {"bar-may-lift", "loading-order", "band-lets-go"} <= {f["code"] for f in mid["rig"]["findings"]}


def test_nobody_fits_or_the_file_is_missing(press: str, capsys: Capture) -> None:
    assert run(["rig", press, "--lifters", "Far 2.3m 2.6m"]) == 1
    assert "press.rig.toml: Far: B on the left" in capsys.readouterr().err
    assert run(["rig", press, "--lifters", "who.csv"]) == 1
    assert "who.csv" in capsys.readouterr().err
