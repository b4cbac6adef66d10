"""`bandcurve plan` and its form."""

import json
import re
import zlib
from pathlib import Path

import pytest

from calib.acquire.recording.plan import CAPACITY_SHARE, neo_hooke
from calib.units import G_STANDARD as G
from calib.use.report.sheet import MOST_CYCLES, MOST_ROWS, PAPER, Form, form_pdf
from calib.verbs.app import run

FLAT = ["plan", "B07", "--flat", "1029mm"]


def planned(capsys: pytest.CaptureFixture[str], *options: str) -> dict[str, object]:
    assert run([*FLAT, *options, "--json"]) == 0
    found: dict[str, object] = json.loads(capsys.readouterr().out)
    return found


def test_lengths_are_denser_at_low_stretch(capsys: pytest.CaptureFixture[str]) -> None:
    settings = planned(capsys)["settings"]
    assert isinstance(settings, list)
    stretches = [row["stretch"] for row in settings]
    assert len(stretches) == 8
    assert stretches[0] == pytest.approx(1.1, abs=0.02)
    assert stretches[-1] <= 2.21
    assert stretches[1] - stretches[0] < 0.5 * (stretches[-1] - stretches[-2])


def test_pull_stays_within_the_scale(capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--width", "60mm", "--thickness", "4.5mm", "--capacity", "30kg"]
    settings = planned(capsys, *options)["settings"]
    assert isinstance(settings, list)
    assert all(row["expected_N"] <= CAPACITY_SHARE * 30 * G for row in settings)
    assert settings[-1]["expected_N"] == pytest.approx(
        2 * 0.06 * 0.0045 * 0.4e6 * neo_hooke(settings[-1]["stretch"]), rel=1e-3
    )


def test_holes_are_whole_numbers_of_pitches(capsys: pytest.CaptureFixture[str]) -> None:
    found = planned(capsys, "--holes", "50mm", "--first-hole", "4")
    settings = found["settings"]
    assert isinstance(settings, list)
    assert all(row["length_m"] == pytest.approx((row["hole"] - 4) * 0.05) for row in settings)
    assert found["tape_kind"] == "centres"
    assert "--holes 50mm --first-hole 4" in str(found["next"])


def test_form_is_one_page_and_the_same_each_time(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for paper in ("a4", "letter"):
        path = tmp_path / f"{paper}.pdf"
        assert run([*FLAT, "--form", str(path), "--paper", paper]) == 0
        data = path.read_bytes()
        assert data.startswith(b"%PDF")
        assert len(re.findall(rb"/Type /Page\b", data)) == 1
        width, height = (mm / 25.4 * 72 for mm in PAPER["letter" if paper == "letter" else "a4"])
        box = re.search(rb"/MediaBox \[ ?([0-9. ]+) ?\]", data)
        assert box is not None
        assert [float(x) for x in box[1].split()] == pytest.approx([0, 0, width, height], abs=0.1)
        assert "--from-form" in capsys.readouterr().out
    form = Form("B07", ("1134", "1287"), "length, mm", "shown, kg", 2, True, 10.0)
    assert form_pdf(form, "a4") == form_pdf(form, "a4")


def test_cells_are_tall_enough_for_a_pen_in_a_glove() -> None:
    """Eight lengths by two cycles: every cell at least 12 mm high and 25 mm wide, as drawn in the file."""
    form = Form("B07", tuple(str(n) for n in range(1100, 1900, 100)), "length, mm", "shown, kg", 2, True, 10.0)
    cells = _rectangles(form_pdf(form, "letter"))
    wide = [(w, h) for w, h in cells if 25 <= w <= 45 and h >= 12]
    assert len(wide) >= 8 * 4


def _rectangles(data: bytes) -> list[tuple[float, float]]:
    """Width and height in millimetres of every closed four-cornered path in a PDF."""
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", data, re.DOTALL)
    drawn = b"\n".join(zlib.decompress(s) for s in streams if s[:1] == b"x")
    number = rb"(-?[0-9.]+)"
    corner = number + rb" " + number
    path = corner + rb" m\s+" + (corner + rb" l\s+") * 3 + rb"h"
    found = [[float(x) * 25.4 / 72 for x in m] for m in re.findall(path, drawn)]
    return [(max(p[::2]) - min(p[::2]), max(p[1::2]) - min(p[1::2])) for p in found]


def test_the_fullest_form_still_fits() -> None:
    rows = tuple(f"hole {n}" for n in range(MOST_ROWS))
    remarks = ("a remark that is rather long and goes over the end of a line, as remarks at times do, twice over",) * 2
    form = Form(
        "x" * 64, rows, "hole", "shown, lb", MOST_CYCLES, True, 10.0, remarks=remarks, command="Then: " + "y " * 90
    )
    heights = [h for w, h in _rectangles(form_pdf(form, "letter")) if 15 <= w <= 25 and h < 20]
    assert min(heights) > 5


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["plan", "B07"], 2),
        (["plan", "B07", "--flat", "1029"], 2),
        (["plan", "B07", "--flat", "1029m"], 1),
        (["plan", "../B07", "--flat", "1029mm"], 1),
        ([*FLAT, "--to", "3.5m"], 1),
        ([*FLAT, "--form", "form.txt"], 2),
        ([*FLAT, "--paper", "a3"], 2),
        ([*FLAT, "--kind", "outside"], 2),
        ([*FLAT, "--holes", "50mm", "--kind", "band-inner"], 2),
        ([*FLAT, "--holes", "5m"], 1),
        ([*FLAT, "--thickness", "4.5m"], 1),
        (["plan", "B07", "--loads", "5kg heavy"], 2),
        (["plan", "B07", "--loads", "5kg"], 1),
        ([*FLAT, "--form", "nowhere/form.pdf"], 1),
    ],
)
def test_what_cannot_be_planned_gets_one_sentence(
    arguments: list[str],
    status: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(arguments) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_hung_loads_are_planned_in_their_own_unit(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", "B07", "--loads", "5lb 10lb 25lb", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [row["mass_kg"] for row in found["settings"]] == pytest.approx(
        [5 * 0.45359237, 10 * 0.45359237, 25 * 0.45359237]
    )
    assert found["next"].endswith("--loads '5 10 25'")
