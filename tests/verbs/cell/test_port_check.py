"""A check of a load cell by its line: loads are hung and named, values taken; counts become force, signs are said."""

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from calib.acquire.cell.lines import Record
from calib.errors import DataError
from calib.fit.gear.known_loads import usual
from calib.scale import Scale, load_scale, save_scale
from calib.units import G_STANDARD
from calib.use.cell.cell_line import CellLine, LineWanted, open_line
from calib.use.scales.check_part import check_part
from calib.use.scales.checked import fit_check, refuse_far_off
from calib.verbs.cell import port_check
from calib.verbs.cell.port_check import Checked, check_at_line
from calib.verbs.fit import command as fit
from calib.verbs.scale.scale_hung import Draft, Stated, from_table
from calib.verbs.terminal.prompts import EndOfInputError
from tests.verbs.cell.bench import COUNTS_PER_NEWTON, ZERO_COUNTS, Bench, head_for, recorder_at
from tests.verbs.cell.trials import type_flat

UP_AND_DOWN = ("0", "10", "20", "10", "0", "")


def _cell(**fields: object) -> Scale:
    plain = {"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.05}
    return Scale.model_validate({**plain, "capacity_N": 1000.0, **fields})


def _checked(
    bench: Bench,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    typed: tuple[str, ...] = UP_AND_DOWN,
    scale: Scale | None = None,
    *,
    may_turn: bool = False,
    resume: Path | None = None,
) -> Checked:
    bench = replace(bench, relaxing=0.0)
    answers: Iterator[str] = iter(typed)

    def ask(prompt: str, begun: str = "") -> str:
        text = next(answers, None)
        if text is None:
            raise EndOfInputError
        if text == "^C":
            raise KeyboardInterrupt
        if text.isdigit():
            bench.go_to(float(text) * G_STANDARD)
            bench.t += 60.0  # the load swings to rest, and is named then
        return text

    monkeypatch.setattr(port_check, "ask_line", ask)
    scale = scale or _cell()
    with open_line(LineWanted("bench"), scale, opened=lambda name, setting: bench) as line:
        draft, known = Draft.beside(folder / "cell.scale.json", "cell"), usual("plates-1", "weighed")
        return check_at_line(line, scale, known, draft, G_STANDARD, may_turn=may_turn, resume=resume)


def test_counts_become_newton_and_the_line_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    checked = _checked(Bench(unit="counts"), tmp_path, monkeypatch)
    counts = checked.scale.counts
    assert counts is not None
    assert counts.per_count_N == pytest.approx(1 / COUNTS_PER_NEWTON, rel=1e-4)
    assert counts.force(ZERO_COUNTS) == pytest.approx(0.0, abs=0.02)
    assert [r.branch for r in checked.hung.rows] == ["loading", "loading", "loading", "unloading", "unloading"]
    assert checked.scale.resolution_N == pytest.approx(1 / COUNTS_PER_NEWTON, rel=1e-3)
    assert checked.scale.extensions["line"]["format"]["roles"][:2] == ("clock", "value")
    result = fit_check(checked.hung, checked.scale, "2026-03-01", (None, None))
    assert result.correction.coefficients[1] == pytest.approx(1.0, abs=1e-4)
    assert result.zero_return == pytest.approx(0.0, abs=0.02)


def test_a_second_check_keeps_what_a_count_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = _checked(Bench(unit="counts"), tmp_path, monkeypatch).scale
    again = _checked(Bench(unit="counts", seed=2), tmp_path, monkeypatch, scale=first)
    assert again.scale.counts == first.counts
    other = first.model_copy(update={"counts": first.counts.model_copy(update={"per_count_N": 0.002})})  # type: ignore[union-attr]
    with pytest.raises(DataError, match="another cell"):
        _checked(Bench(unit="counts"), tmp_path, monkeypatch, scale=other)


@pytest.mark.parametrize("unit", ["counts", "kg"])
def test_a_cell_the_other_way_round_is_said_and_its_sign_kept_only_when_told(
    unit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(DataError, match="--reversed"):
        monkeypatch.setattr(port_check, "yes", lambda prompt, default=True: False)
        _checked(Bench(unit=unit, turned=True), tmp_path, monkeypatch)
    checked = _checked(Bench(unit=unit, turned=True), tmp_path, monkeypatch, may_turn=True)
    shown = [r.shown for r in checked.hung.rows]
    assert shown == pytest.approx([0, 10 * G_STANDARD, 20 * G_STANDARD, 10 * G_STANDARD, 0], abs=0.1)
    with open_line(LineWanted("bench"), checked.scale, opened=lambda n, s: Bench(unit=unit, turned=True)) as line:
        assert line.meter.reversed is (unit == "kg")
        assert (line.meter.per_count or 0.0) < 0 or unit == "kg"


def test_creep_is_watched_when_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    bench = Bench(drift_n_per_s=0.001)
    checked = _checked(bench, tmp_path, monkeypatch, ("0", "20", "creep", "0", ""))
    assert checked.creep is not None
    assert checked.creep.after_s == 300.0
    assert checked.creep.at_N == pytest.approx(20 * G_STANDARD, rel=0.01)
    assert checked.creep.change_N == pytest.approx(0.29, abs=0.02)


def test_another_load_hung_during_the_watch_is_no_creep(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(drift_n_per_s=0.02)  # 6 N in five minutes, 3 % of the load
    checked = _checked(bench, tmp_path, monkeypatch, ("0", "20", "creep", "0", ""))
    assert checked.creep is None
    assert "nothing was stored" in capsys.readouterr().err


@dataclass
class _LeftOff(Bench):
    """A bench at which the first load above 15 kg that is named is another, in truth. [kg]"""

    hangs: float = 0.0
    slips: int = 1

    def go_to(self, force: float) -> None:
        if force > 15 * G_STANDARD and self.slips:
            self.slips, force = 0, self.hangs * G_STANDARD
        super().go_to(force)


@pytest.mark.parametrize(
    ("hangs", "said"),
    [
        (0.0, "Is the load really hanging?"),
        (10.0, "0.5 times"),
        (9.07, "0.45 times what the loads before it lead to expect. Looks like kg taken for lb."),
        (44.1, "2.2 times what the loads before it lead to expect. Looks like lb taken for kg."),
        (22.5, "1.1 times"),
    ],
)
def test_a_load_that_was_named_and_does_not_hang_is_questioned(
    hangs: float, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(port_check, "yes", lambda prompt, default=True: False)
    bench = _LeftOff(unit="counts", hangs=hangs)
    checked = _checked(bench, tmp_path, monkeypatch, ("0", "10", "20", "20", "10", "0", ""))
    assert said in " ".join(capsys.readouterr().err.split())
    assert [sum(row.pieces) for row in checked.hung.rows] == [0, 10, 20, 10, 0]


def test_loads_that_do_not_lie_on_one_line_are_refused_however_they_were_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(port_check, "yes", lambda prompt, default=True: True)  # kept in spite of the question
    typed = ("0", "10", "20", "10", "0", "")
    checked = _checked(_LeftOff(hangs=24.0), tmp_path, monkeypatch, typed)
    result = fit_check(checked.hung, checked.scale, "2026-03-01", (None, None))
    with pytest.raises(DataError, match="do not lie on one line: number"):
        refuse_far_off(result, False, "cell")
    refuse_far_off(result, True, "cell")
    bent = [replace(r, shown=0.85 * r.shown) for r in _checked(Bench(), tmp_path, monkeypatch).hung.rows]
    assert "overload" not in capsys.readouterr().err  # 9.999 kg on the way is within what the cell takes
    far = fit_check(replace(checked.hung, rows=tuple(bent)), checked.scale, "2026-03-01", (None, None))
    refuse_far_off(far, False, "cell")  # wrong by 15 %, and all of one mind


def test_nothing_comes_first_or_a_load_in_the_wrong_unit_would_be_believed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    checked = _checked(Bench(unit="counts"), tmp_path, monkeypatch, ("20", *UP_AND_DOWN))
    assert "take everything off and type 0" in capsys.readouterr().err
    assert [sum(r.pieces) for r in checked.hung.rows] == [0, 10, 20, 10, 0]


def test_more_than_the_cell_takes_is_not_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    checked = _checked(Bench(), tmp_path, monkeypatch, ("0", "200", *UP_AND_DOWN[1:]))
    assert "The cell takes 102 kg" in capsys.readouterr().err
    assert [sum(row.pieces) for row in checked.hung.rows] == [0, 10, 20, 10, 0]


def test_too_few_loads_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(DataError, match="one known load at least"):
        _checked(Bench(), tmp_path, monkeypatch, ("0", "0", "0", ""))


def test_counts_recorded_before_the_check_are_fitted_with_its_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    type_flat(monkeypatch)
    recorder, _ = recorder_at(Bench(unit="counts"), tmp_path, head_for(counts=True, cycles=2))
    recorder.record()
    assert fit([recorder.path], out=tmp_path) == 1
    said = capsys.readouterr().err
    assert "scale check cell.scale.json --port bench" in said
    assert "nothing says what a count is; check the cell, bandcurve scale check CELL.scale.json" in said
    checked = _checked(Bench(unit="counts"), tmp_path, monkeypatch)
    result = fit_check(checked.hung, checked.scale, "2026-03-01", (None, None))
    path = tmp_path / "cell.scale.json"
    save_scale(checked.scale.with_check(check_part(result, "2026-03-01", (None, None), None)), path)
    assert load_scale(path).counts == checked.scale.counts
    assert fit([recorder.path], out=tmp_path, scale=path) == 0
    assert "kg" in capsys.readouterr().out
    relaxation = json.loads((tmp_path / "T1.profile.json").read_text())["relaxation"]
    assert relaxation["measured"] is True
    assert relaxation["percent_per_decade"] == pytest.approx(2.0, abs=0.1)


@pytest.mark.parametrize("unit", ["counts", "kg"])
def test_a_check_that_broke_off_goes_on_though_the_board_has_set_itself_to_nought(
    unit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(KeyboardInterrupt):
        _checked(Bench(unit=unit), tmp_path, monkeypatch, ("0", "10", "20", "^C"))
    draft = tmp_path / "cell.check.csv"
    assert draft.read_text().startswith(f"known_kg,shown_{'counts' if unit == 'counts' else 'N'},branch\n0,")
    assert len(draft.read_text().splitlines()) == 4
    later = Bench(unit=unit, seed=3, _offset=7.0)
    checked = _checked(later, tmp_path, monkeypatch, ("", "10", "0", ""), resume=draft)
    assert "are shifted by that" in capsys.readouterr().err
    assert [sum(r.pieces) for r in checked.hung.rows] == [0, 10, 20, 10, 0]
    result = fit_check(checked.hung, checked.scale, "2026-03-01", (None, None))
    assert result.correction.coefficients[1] == pytest.approx(1.0, abs=1e-4)
    assert [r.shown for r in checked.hung.rows] == pytest.approx(
        [checked.hung.rows[0].shown + G_STANDARD * x for x in (0, 10, 20, 10, 0)], abs=0.03
    )
    assert (tmp_path / "cell.check-2.csv").exists()


def test_a_board_that_starts_again_in_the_middle_and_tares_itself_costs_one_more_look_at_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    bench = Bench(unit="counts", unplugs=((70.0, 2.0),), tares=True)
    checked = _checked(bench, tmp_path, monkeypatch, ("0", "10", "0", "10", "20", "10", "0", ""))
    said = " ".join(capsys.readouterr().err.split())
    assert "the board started again, so nothing on is read once more" in said
    assert [sum(r.pieces) for r in checked.hung.rows] == [0, 10, 20, 10, 0]
    result = fit_check(checked.hung, checked.scale, "2026-03-01", (None, None))
    assert result.correction.coefficients[1] == pytest.approx(1.0, abs=1e-4)
    assert result.zero_return == pytest.approx(0.0, abs=0.03)


def test_a_restart_while_a_load_is_being_hung_is_not_thrown_away_with_the_lines() -> None:
    came = [[Record(1.0, "reading", "1", counts=1.0), Record(2.0, "reset", "# load cell")], []]
    line = CellLine(SimpleNamespace(poll=lambda wait: came.pop(0)), None, None, 10.0)  # type: ignore[arg-type]
    line.skip()
    assert line.restarted


def test_loads_kept_in_counts_are_refused_without_the_line_and_with_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = tmp_path / "cell.check.csv"
    kept.write_text("known_kg,shown_counts,branch\n0,84210,loading\n10,191790,loading\n")
    with pytest.raises(DataError, match="--port PORT --from"):
        from_table(kept, Stated())
    with pytest.raises(DataError, match="gives force"):
        _checked(Bench(), tmp_path, monkeypatch, resume=kept)
    kept.write_text("known_kg,shown_counts,branch\n10,191790,loading\n")
    with pytest.raises(DataError, match="the empty cell"):
        _checked(Bench(unit="counts"), tmp_path, monkeypatch, resume=kept)
