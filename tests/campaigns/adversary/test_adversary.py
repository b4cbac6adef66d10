"""The adversary's own arithmetic, and a share of its campaign that can fail."""

import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.campaigns.adversary import gear as tools
from tests.campaigns.adversary import rubber
from tests.campaigns.adversary.__main__ import every_row, play
from tests.campaigns.adversary.case import Case, Row
from tests.campaigns.adversary.laws import BY_NAME, PUBLISHED, Array, Law
from tests.campaigns.adversary.product import answer_all
from tests.campaigns.adversary.scoring import names, score, summed

ROWS = {row.name: row for row in every_row()}


@pytest.mark.parametrize("law", PUBLISHED, ids=lambda law: law.name)
def test_a_published_law_pulls_nothing_at_rest_and_more_the_longer(law: Law) -> None:
    stress = law.stress(np.linspace(1, law.highest, 400))
    assert stress[0] == pytest.approx(0, abs=1e-12)
    assert np.all(np.diff(stress) > 0)


def _tube_energy(s: Array) -> Array:
    room, gone = s**2 + 2 / s - 3, 0.097**2
    chains = 0.187 / 2 * ((1 - gone) * room / (1 - gone * room) + np.log(1 - gone * room))
    return np.asarray(chains + 2 * 0.217 / 0.2**2 * (s**-0.2 + 2 * s**0.1 - 3))


ENERGY: dict[str, Callable[[Array], Array]] = {
    "neo-hooke": lambda s: np.asarray((s**2 + 2 / s) / 2),
    "gent": lambda s: np.asarray(-15 * np.log(1 - (s**2 + 2 / s - 3) / 30)),
    "varga": lambda s: np.asarray(2 * (s + 2 / np.sqrt(s))),
    "extended-tube": _tube_energy,
}


def test_incompressible_laws_have_the_slope_of_their_strain_energy() -> None:
    x, h = np.linspace(1.1, 2.2, 12), 1e-6
    for name, of in ENERGY.items():
        slope = (of(x + h) - of(x - h)) / (2 * h)
        assert BY_NAME[name].stress(x) == pytest.approx(slope, rel=1e-6), name


def test_the_tape_is_where_geometry_puts_it() -> None:
    inner = tools.beyond_tape("band-inner", (0.012, 0.012), 0.0045, 1.0)
    assert inner == pytest.approx(((np.pi - 2) * 0.012 + np.pi * 0.0045) / 2)
    thin = tools.beyond_tape("centres", (0.012, 0.012), 0.010, 4.0)
    assert thin == pytest.approx(np.pi / 2 * (0.012 + 0.005))


def test_a_display_that_cuts_off_shows_half_a_step_less_on_average() -> None:
    kilos = np.random.default_rng(1).uniform(1, 9, 4000)
    cut = tools.show(tools.Gear(0.1, truncates=True), kilos) - kilos
    assert cut.mean() == pytest.approx(-0.05, abs=0.002)
    assert tools.show(tools.Gear(0.1), kilos) - kilos == pytest.approx(0, abs=0.0501)


def test_a_second_layer_bends_where_it_engages_and_nowhere_else() -> None:
    law = BY_NAME["gent"]
    stress = rubber.second_layer(law, 1.5, 0.8)
    x = np.array([1.2, 1.4999, 1.6])
    assert stress(x)[:2] == pytest.approx(law.stress(x)[:2])
    assert stress(x)[2] > 1.1 * law.stress(x)[2]


def test_a_doubt_names_a_place_only_near_it() -> None:
    said = [{"code": "curled-start", "text": "between 1.20 m and 1.30 m the pull may bend"}]
    assert names(said, 1.25, 1.0)
    assert not names(said, 1.70, 1.0)


@pytest.mark.parametrize("name", ["plain-cell", "law-gent"])
def test_plain_bands_are_covered_and_nothing_is_alleged(name: str, tmp_path: Path) -> None:
    total = summed(name, play(ROWS[name], 12, tmp_path))
    assert total.refused == 0
    assert total.alarms <= 1
    assert min(total.out, total.back) >= 0.85
    assert total.rms_z < 1.3 and total.error_percent < 0.5


def test_a_bend_between_the_first_lengths_is_not_taken_for_a_toe_of_any_size(tmp_path: Path) -> None:
    """With a toe of up to 2.8 in ln F this band was 6.7 u off there, and no doubt named the place."""
    row = ROWS["bend-cell"]
    seed = [0, zlib.crc32(row.name.encode()), 166]
    case = row.make(np.random.default_rng(seed), "A166")
    assert score(row, case, answer_all([case], tmp_path)[0]).worst_z < 6


def test_a_scale_that_reads_ten_per_cent_high_fails_the_row(tmp_path: Path) -> None:
    """The judge can say no."""

    def high(rng: np.random.Generator, ident: str) -> Case:
        case = ROWS["plain-cell"].make(rng, ident)
        lines = [line.split(",") for line in case.files[f"{ident}.run.csv"].splitlines()]
        for cells in lines:
            if len(cells) > 5 and cells[1] == "reading":
                cells[5] = f"{float(cells[5]) * 1.1:.3f}"
        return replace(case, files={f"{ident}.run.csv": "\n".join(",".join(cells) for cells in lines) + "\n"})

    total = summed("high", play(Row("high", "", "", high), 3, tmp_path))
    assert total.out < 0.2
    assert total.beyond_5 == 3
    assert {"out low", "rms z", "6 u"} <= set(total.failings())


def test_a_slip_typed_into_the_first_answer_stands_in_its_run(tmp_path: Path) -> None:
    row = ROWS["quick-three-kept"]
    case = row.make(np.random.default_rng(5), "Q")
    answer = answer_all([case], tmp_path)[0]
    typed: set[float] = getattr(case.talk, "wrong_kilos", set())
    assert len(typed) == 1
    assert f",{typed.pop():g}," in answer.run_text
    assert answer.profile is not None


def test_twins_by_tape_alone_are_told_apart_by_what_they_differ(tmp_path: Path) -> None:
    scores = play(ROWS["series-laws"], 8, tmp_path)
    assert not any(s.failed for s in scores)
    assert np.mean([s.error_share for s in scores]) < 0.015


def test_named_pieces_are_read_and_the_same_pieces_hang_again(tmp_path: Path) -> None:
    case = ROWS["stacks"].make(np.random.default_rng(2), "P")
    text = case.files["P.run.csv"]
    assert 'pieces = ["p0", "p1", "p2", "p3", "p4"]' in text
    assert text.count(",30,p3+p4+p1+p2,") == 2
    assert answer_all([case], tmp_path)[0].profile is not None
