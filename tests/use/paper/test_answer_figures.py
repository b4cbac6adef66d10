"""Figures of answers: they show the answer's own numbers, text stays text, names are shown as they are written."""

import json
import re
from functools import partial
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from calib.profile.batch_document import load_batch
from calib.units import SHOWN
from calib.use.bands.compare import compare, compare_answer
from calib.use.bands.curve_answer import curve_answer
from calib.use.bands.history import history, history_answer
from calib.use.bands.lookup import Lookup
from calib.use.bands.pair import pair_answer, pair_found
from calib.use.paper.answer_figures import batch_figure, budget_figure, compare_figure, history_figure, pairs_figure
from calib.use.report.figures import KINDS, figure_bytes
from calib.verbs.app import run
from tests.profile.store.folders import put

KG = SHOWN["kg"]
STORED = Path(__file__).parents[2] / "data" / "batches" / "invented-1.0.batch.json"
HOSTILE = "</svg><script>$x_1$"


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Three bands, the first of two days."""
    monkeypatch.chdir(tmp_path)
    for name, level in (("A1", 1.0), ("A2", 1.02), ("A3", 0.97), ("A4", 1.01)):
        put(tmp_path / f"{name}.profile.json", name, level)
    put(tmp_path / "A1.2026-09-01.profile.json", "A1", 0.95, "2026-09-01")
    return tmp_path


def answers() -> dict[str, Any]:
    """Every figure as a function without arguments, and what it is of."""
    found = Lookup().find_all(["A1", "A2", "A3", "A4"])
    old, new = (Lookup().find(Path(n)).profile for n in ("A1.profile.json", "A1.2026-09-01.profile.json"))
    told = history_answer(history([old, new], ()), [old, new])
    change, pairs = compare_answer(old, new, compare(old, new)), pair_answer(pair_found(found))
    budget, batch = curve_answer(new, ()).budget, load_batch(STORED)
    return {
        "history": (partial(history_figure, told), told),
        "compare": (partial(compare_figure, change, KG), change),
        "pairs": (partial(pairs_figure, pairs, KG), pairs),
        "budget": (partial(budget_figure, "A1", budget), budget),
        "batch": (partial(batch_figure, batch), batch),
    }


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_answer_gives_the_same_bytes(kind: Any) -> None:
    for make, _ in answers().values():
        assert figure_bytes(make, kind) == figure_bytes(make, kind)


def test_the_text_of_an_svg_stays_text() -> None:
    page = {name: figure_bytes(make, "svg").decode() for name, (make, _) in answers().items()}
    words = {name: [unescape(t) for t in re.findall(r"<text[^>]*>([^<]*)</text>", text)] for name, text in page.items()}
    assert "Band A1: pull against that of the first calibration" in words["history"]
    assert "2026-09-01" in words["history"]
    assert {"loading", "unloading"} <= set(words["compare"])
    assert any(" + " in word for word in words["pairs"])
    assert "scale gain" in words["budget"]
    assert {"B01", "B02"} <= set(words["batch"])


def _line(figure: Any, gid: str) -> Any:
    return next(line for line in figure.axes[0].get_lines() if line.get_gid() == gid)


def test_what_is_drawn_is_the_answer() -> None:
    made = answers()
    figure, told = made["history"][0](), made["history"][1]
    (bars,) = figure.axes[0].containers
    assert list(bars[0].get_ydata()) == pytest.approx([100 * c.level.level_ratio for c in told.calibrations])
    figure, change = made["compare"][0](), made["compare"][1]
    loading = [p.difference_N / KG.newton for p in change.points if p.branch == "loading"]
    assert list(_line(figure, "loading").get_ydata()) == pytest.approx(loading)
    figure, pairs = made["pairs"][0](), made["pairs"][1]
    lengths = [bar.get_width() * KG.newton for bar in figure.axes[0].patches]
    assert lengths == pytest.approx([p.upper95_mean_N for p in pairs.pairs])
    figure, budget = made["budget"][0](), made["budget"][1]
    widths = [bar.get_width() for bar in figure.axes[0].patches]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] == pytest.approx(100 * max(r.share_middle for r in budget))
    figure, batch = made["batch"][0](), made["batch"][1]
    levels = sorted(100 * b.level for b in batch.bands)
    assert list(figure.axes[0].containers[0][0].get_xdata()) == pytest.approx(levels)


def test_a_name_is_shown_as_it_is_written() -> None:
    page = figure_bytes(partial(budget_figure, HOSTILE, answers()["budget"][1]), "svg").decode()
    assert "<script" not in page
    assert f"Band {HOSTILE}:" in unescape(page)


def test_commands_write_the_figures_and_overwrite_none(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = {
        "h.svg": ["history", "A1", "--figure"],
        "c.pdf": ["compare", "A1", "--figure"],
        "p.png": ["pair", "A1", "A2", "A3", "A4", "--figure"],
        "b.svg": ["show", "A1", "--budget"],
    }
    for name, words in asked.items():
        assert run([*words, name, "--json"]) == 0
        out, err = capsys.readouterr()
        json.loads(out)
        assert f"Figure written to {name}." in err
        before = (here / name).read_bytes()
        assert run([*words, name]) == 1
        assert run([*words, "x.gif"]) == 2
        assert (here / name).read_bytes() == before
