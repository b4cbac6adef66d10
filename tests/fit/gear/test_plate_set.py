"""A set of plates: what is typed, the file, the stacks it makes, and what a run says of the pieces that hung."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import format_head, format_row, parse_run
from calib.errors import DataError
from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.observations import observe
from calib.fit.gear.known_loads import loads_of, set_from
from calib.plate_set import load_plates, parse_plates, save_plates, sizes
from calib.records import Row, Run
from tests.campaigns.simulated_bands.measuring import measure
from tests.campaigns.simulated_bands.worlds import BY_NAME

SET = set_from("2 x 20, 4 x 10, 2x5, 1.25 x 2", "anna-7f3a", "Anna")
COLUMNS = ("row", "kind", "cycle", "branch", "length_mm", "mass_kg", "pieces", "note")


def test_what_is_typed_becomes_pieces_with_names() -> None:
    assert [p.id for p in SET.pieces] == ["20a", "20b", "10a", "10b", "10c", "10d", "5a", "5b", "1.25a", "1.25b"]
    assert SET.pieces[0].u_mass_kg == pytest.approx(20 * 0.02 / 3**0.5)
    assert sizes("20 x 4") == [(20.0, None)] * 4
    assert sizes("2 \u00d7 20; 10") == [(20.0, None), (20.0, None), (10.0, None)]


def test_a_weighed_piece_has_its_mass_and_a_small_doubt() -> None:
    mixed = set_from("20=20.21, 20=19.8, 10", "anna-7f3a", "Anna")
    assert [p.mass_kg for p in mixed.pieces] == [20.21, 19.8, 10.0]
    assert mixed.pieces[0].u_mass_kg < 0.01 < mixed.pieces[2].u_mass_kg
    assert mixed.kind == "plates"
    assert set_from("20=20.21", "anna-7f3a", "Anna").kind == "weighed"


@pytest.mark.parametrize(
    "text", ["", "two of 20", "2 x", "0 x 20", "2 x 1,25", "2.5", "13 x 14.5.1", "2 x 20=20.1", "-5", "20 x 40"]
)
def test_what_cannot_be_read_is_one_sentence(text: str) -> None:
    if text == "2.5":
        assert sizes(text) == [(2.5, None)]
        return
    with pytest.raises(DataError) as caught:
        sizes(text)
    assert caught.value.remedy


def test_the_file_gives_back_what_was_written(tmp_path: Path) -> None:
    save_plates(SET, tmp_path / "anna.plates.json")
    assert load_plates(tmp_path / "anna.plates.json").to_json() == SET.to_json()
    assert parse_plates(SET.to_json().encode(), "x").to_json() == SET.to_json()


def test_two_pieces_of_one_name_are_refused() -> None:
    with pytest.raises(DataError, match="20a"):
        parse_plates(SET.to_json().replace('"20b"', '"20a"').encode(), "x.plates.json")


def test_a_load_is_the_same_pieces_each_time() -> None:
    assert SET.stack(35) == ("20a", "10a", "5a")
    assert SET.mass(SET.stack(36.25)) == 36.25
    with pytest.raises(DataError) as caught:
        SET.stack(33)
    assert "32.5 kg and 35 kg" in (caught.value.remedy or "")


def test_pieces_are_named_by_label_or_letter() -> None:
    assert SET.named("20+20+5") == ("20a", "20b", "5a")
    assert SET.named("20b+20") == ("20b", "20a")
    for wrong in ("20+20+20", "20a+20a", "15", "x"):
        with pytest.raises(DataError):
            SET.named(wrong)


def _hung() -> Run:
    run = measure(BY_NAME["plates"], 3).run
    loads = loads_of(SET, 0.5)
    rows, settings = [], (5.0, 10.0, 20.0, 30.0)
    largest = max(row.mass or 0.0 for row in run.rows)
    for row in run.rows:
        at = settings[min(int(4 * (row.mass or 0.0) / largest), 3)]
        rows.append(replace(row, mass=at, pieces=SET.stack(at)))
    return replace(run, head=replace(run.head, loads=loads), rows=tuple(rows))


def test_a_run_keeps_the_set_and_the_pieces() -> None:
    run = _hung()
    text = format_head(run.head, 1) + ",".join(COLUMNS) + "\n" + "".join(format_row(r, COLUMNS) for r in run.rows)
    assert text.startswith('# format = "bandcurve-run/1.1"')
    back = parse_run(text.encode(), "x.run.csv")
    assert back.head.loads is not None and run.head.loads is not None
    assert back.head.loads.pieces == run.head.loads.pieces
    assert np.allclose(back.head.loads.u_piece_masses, run.head.loads.u_piece_masses, rtol=1e-10)
    assert [r.pieces for r in back.rows] == [r.pieces for r in run.rows]


def test_pieces_alone_say_the_load_and_a_wrong_sum_is_refused() -> None:
    run = _hung()
    head = format_head(run.head)
    bare = parse_run((head + "cycle,branch,length_mm,pieces\n1,loading,1500,20a+10a\n").encode(), "x.run.csv")
    assert bare.rows[0].mass == 30.0
    table = "cycle,branch,length_mm,mass_kg,pieces\n1,loading,1500,{}\n"
    for cells, words in (("25,20a+10a", "30 kg"), ("40,20a+20a", "twice"), ("20,20z", "20z")):
        with pytest.raises(DataError, match=words) as caught:
            parse_run((head + table.format(cells)).encode(), "x.run.csv")
        assert caught.value.remedy


def test_a_piece_is_one_source_in_every_load_cycle_and_run() -> None:
    run = _hung()
    seen = observe([run, replace(run, name="again")])
    singles = [s for s in seen.sources if s.name == "single loads"]
    assert {s.key for s in singles} == {f"piece:anna-7f3a/{name}" for name in ("20a", "10a", "5a")}
    twenty = next(s for s in singles if s.key == "piece:anna-7f3a/20a")
    hung = np.array(["20a" in row.pieces for ((_, row),) in seen.rows])
    assert ((twenty.force > 0) == hung).all()
    assert np.ptp(twenty.force[hung]) == 0


def test_a_load_of_an_old_file_is_one_source() -> None:
    run = measure(BY_NAME["plates"], 3).run
    fit = fit_runs([run])
    seen = observe([run])
    singles = [s for s in seen.sources if s.name == "single loads"]
    assert len(singles) == len({row.mass for row in run.rows})
    assert any(line.source == "single loads" for line in fit.budget)


def test_a_set_whose_lists_differ_is_refused() -> None:
    run = _hung()
    head = format_head(run.head).replace('"20a", ', "")
    with pytest.raises(DataError, match="9 pieces"):
        parse_run((head + "cycle,branch,length_mm,mass_kg\n1,loading,1500,20\n").encode(), "x.run.csv")


def test_an_empty_row_has_no_pieces() -> None:
    assert Row(1).pieces == ()
