"""Sheets for the wall: the same bytes each time, the numbers of the answer, names shown as they are written."""

import json
import re
import struct
from html import unescape
from pathlib import Path

import pytest

from calib.profile.document import Profile, parse_profile, save_profile
from calib.units import SHOWN
from calib.use.bands.curve_answer import curve_answer
from calib.use.paper.band_sheet import band_sheet, sheet_lengths
from calib.use.paper.rig_sheet import rig_sheet
from calib.use.rig.rig_answers import rig_answer
from calib.use.rig.statics import calculate
from calib.verbs.app import run
from tests.profile.invented import document
from tests.use.rig.made import band_text, linear, rig, rig_text

HOSTILE = '</svg><script>alert(1)</script> $x_1$ "&'


def invented() -> Profile:
    return parse_profile(json.dumps(document()).encode(), "invented")


def _words(page: bytes) -> list[str]:
    """Every text of a page of HTML."""
    return [unescape(t) for t in re.findall(r"<text[^>]*>([^<]*)</text>", page.decode())]


@pytest.mark.parametrize("kind", ["pdf", "png", "html"])
def test_a_band_comes_out_the_same_each_time(kind: str) -> None:
    profile, shown = invented(), SHOWN["kg"]
    answer = curve_answer(profile, sheet_lengths(profile, shown))
    first = band_sheet(profile, answer, "x", kind)  # type: ignore[arg-type]
    assert first == band_sheet(profile, answer, "x", kind)  # type: ignore[arg-type]
    assert first[:4] in (b"%PDF", b"\x89PNG", b"<!do")


def test_a_band_says_its_pulls_in_both_units_and_a_note_literally() -> None:
    profile, shown = invented(), SHOWN["kg"]
    answer = curve_answer(profile, sheet_lengths(profile, shown))
    page = band_sheet(profile, answer, "x", "html", "letter", SHOWN["lb"])
    words = _words(page)
    pull = answer.table[2].loading
    assert pull is not None
    assert SHOWN["lb"].pull(pull.force_N, 1) in words
    assert shown.pull(pull.force_N, 1) in words
    hostile = profile.model_copy(update={"band": profile.band.model_copy(update={"note": HOSTILE})})
    page = band_sheet(hostile, curve_answer(hostile, sheet_lengths(hostile, shown)), "x", "html")
    assert b"<script" not in page
    assert HOSTILE in _words(page)


def test_a_rig_says_both_sides_and_is_named_literally() -> None:
    made = rig(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
    profiles = [linear("ONE"), linear("TWO", stiffness=190.0)]
    answer = rig_answer(calculate(made, profiles), profiles)
    page = rig_sheet(answer, HOSTILE, "Check number: 12.3 kg.", "x.rig.toml", "html")
    words = _words(page)
    assert b"<script" not in page
    assert any(HOSTILE in w for w in words)
    assert answer.up is not None
    for side in ("left", "right"):
        assert f"{answer.up.sides[side].vertical_N[-1] / answer.gravity_m_s2:.1f}" in words
    assert "Check number: 12.3 kg." in words
    assert page == rig_sheet(answer, HOSTILE, "Check number: 12.3 kg.", "x.rig.toml", "html")


def test_the_command_knows_kinds_sizes_and_overwrites_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("B.profile.json").write_text(json.dumps(document("B")))
    assert run(["sheet", "B.profile.json", "--out", "b.png", "--paper", "letter"]) == 0
    width, height = struct.unpack(">II", Path("b.png").read_bytes()[16:24])
    assert height / width == pytest.approx(11 / 8.5, abs=0.001)
    assert run(["sheet", "B", "--out", "b.png"]) == 1
    assert run(["sheet", "B", "--out", "b.gif"]) == 2
    assert run(["sheet", "B", "--paper", "a5"]) == 2
    assert run(["sheet", "NOBODY"]) == 1
    assert "NOBODY" in capsys.readouterr().err


def test_lifters_stand_below_each_other_and_a_rig_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    save_profile(linear("B"), "B.profile.json")
    Path("s.rig.toml").write_text(rig_text(band_text(), bottom=1350, top=1900))
    Path("who.csv").write_text("lifter,bottom_mm,top_mm\n<b>Ana $x$,1400,1800\nBo,1500,9000\n")
    assert run(["sheet", "s.rig.toml", "--lifters", "who.csv", "--out", "l.html"]) == 0
    words = _words(Path("l.html").read_bytes())
    assert "<b>Ana $x$" in words
    assert "1.80" in words
    assert any(word.startswith("Bo: ") for word in words)
    assert run(["sheet", "B", "--lifters", "who.csv"]) == 2
    assert "name a rig" in capsys.readouterr().err
