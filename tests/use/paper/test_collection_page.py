"""The report of a folder: one file, every answer of the commands in it, whatever users wrote shown literally."""

import json
import re
from datetime import date
from pathlib import Path

import pytest

from calib.profile.document import load_profile
from calib.units import SHOWN
from calib.use.paper.collected import Collected, collect
from calib.use.paper.collection_page import collection_page
from calib.verbs.app import run
from tests.profile.invented import document
from tests.use.rig.made import band_text, rig_text

TODAY = date(2026, 5, 1)
HOSTILE = "</script><script>alert('1')</script><img src=x onerror=alert(2)>&"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two bands, one of them of two days; a rig with a hostile name; a profile that cannot be read."""
    made = tmp_path_factory.mktemp("<i>box")
    (made / "B01.profile.json").write_text(json.dumps(_profile("B01", "a", "2026-03-01")))
    later = _profile("B01", "b", "2026-04-20", less=0.97, note=HOSTILE)
    (made / "B01.2026-04-20.profile.json").write_text(json.dumps(later))
    (made / "B02.profile.json").write_text(json.dumps(_profile("B02", "c", "2026-03-01")))
    (made / "broken.profile.json").write_text("{")
    (made / '"><img src=x onerror=alert(3)>.rig.toml').write_text(rig_text(band_text(profile="nobody")))
    return made


def _profile(band: str, run_of: str, day: str, *, note: str = "", less: float = 1.0) -> dict[str, object]:
    made = document(band)
    made["made"] |= {"measured_at": day, "from": [{"file": f"{band}.run.csv", "sha256": run_of * 64}]}
    made["band"] |= {"note": note or None}
    for branch in filter(None, made["branches"].values()):
        branch["force_N"] = [less * f for f in branch["force_N"]]
    return made


@pytest.fixture(scope="module")
def found(folder: Path) -> Collected:
    return collect(folder, sorted(folder.glob("*.rig.toml")), [], TODAY)


def test_a_page_needs_nothing_else_and_is_the_same_again(found: Collected) -> None:
    page = collection_page(found)
    assert collection_page(found) == page
    assert not re.search(r"(src|href)\s*=\s*[\"']?(https?:)?//|@import|url\(", page)


def test_what_users_wrote_is_shown_literally(found: Collected) -> None:
    page = collection_page(found)
    assert "&lt;/script&gt;&lt;script&gt;alert(&#x27;1&#x27;)&lt;/script&gt;" in page
    assert "&lt;i&gt;box" in page
    assert page.count("<script") == 2
    assert "<img" not in page


def test_what_cannot_be_told_is_a_sentence_in_its_place(found: Collected) -> None:
    page = collection_page(found)
    assert "broken.profile.json" in page
    assert found.rigs[0].answer is None
    assert "nobody" in found.rigs[0].why_not
    assert "nobody" in page


def test_the_pulls_of_the_slider_are_those_of_predict(found: Collected, folder: Path) -> None:
    page = collection_page(found)
    numbers = json.loads(re.search(r'id="numbers">(.*?)</script>', page, re.DOTALL)[1])  # type: ignore[index]
    profile = load_profile(folder / "B01.2026-04-20.profile.json")
    way, offset = numbers["bands"][0]["loading"], profile.half_path_less_tape or 0.0
    for k in (0, 7, len(way["force"]) - 1):
        at = profile.estimate((way["first"] + k) * numbers["step"] + offset)
        assert way["force"][k] == pytest.approx(at.force, abs=0.006)
        assert way["mean"][k] == pytest.approx(at.u95, abs=0.006)
        assert way["next"][k] == pytest.approx(profile.u95_next(at), abs=0.006)


def test_history_change_and_what_is_due(found: Collected) -> None:
    first = found.bands[0]
    assert first.history is not None and len(first.history.calibrations) == 2
    assert first.change is not None
    assert first.change.level.level_ratio == pytest.approx(0.97, abs=1e-6)
    page = collection_page(found)
    assert "First and newest, length by length" in page
    assert "97.0%" in page


@pytest.mark.parametrize("unit", SHOWN)
def test_both_units_stand_in_it(found: Collected, unit: str) -> None:
    page = collection_page(found, unit)
    assert f'value="{unit}" checked' in page
    assert page.count('class="in-kg"') == page.count('class="in-lb"') > 3


def test_the_command_says_what_it_left_out_and_overwrites_nothing(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "r.html"
    assert run(["report", str(folder), "--out", str(out)]) == 1  # a file could not be read
    assert "broken.profile.json" in capsys.readouterr().err
    assert run(["report", str(folder), "--out", str(out)]) == 1
    assert "not overwritten" in capsys.readouterr().err
    assert run(["report", str(folder), "--out", str(tmp_path / "r.pdf")]) == 2
    (tmp_path / "empty").mkdir()
    assert run(["report", str(tmp_path / "empty"), "--out", str(tmp_path / "e.html")]) == 2
