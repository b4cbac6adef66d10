"""Readings chosen one by one: what helps most, what nothing helps, and the recording that asks for them."""

import json
import re
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.course import course_of, is_enough
from calib.acquire.recording.machine import take
from calib.acquire.recording.state import Recording, with_rows
from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.next_reading import Aim, Reading, first_readings, outlook, paper_plan, stated
from calib.records import Run
from calib.use.ask.until import choose
from calib.verbs.app import run as bandcurve
from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.campaigns.until.scoring import chosen, even
from tests.fit.curve.made_runs import head, pull, readings
from tests.verbs.pseudo_terminal import Terminal

PLACES = (1.3, 1.4, 1.5, 1.6, 1.7, 1.8, 1.9)
AIM = Aim(1.6, 0.02, PLACES)


def run_of(cycles: int, lengths: tuple[float, ...] = (1.3, 1.6, 1.9), *, way_back: bool = False) -> Run:
    return Run("B1", head(), tuple(readings(cycles, lengths, way_back, noise=0.003)))


def test_the_forecast_of_a_reading_is_what_comes_of_it() -> None:
    """A reading where the forecast says so lowers U about as much as was said; another cycle beats the same one."""
    run = run_of(1)
    before = outlook(run, AIM)
    assert (before.next.cycle, before.next.branch, before.next.length) == (2, "loading", 1.6)
    rows = [*run.rows, *(replace(r, number=4, cycle=2) for r in run.rows if r.length == 1.6)]
    after = outlook(replace(run, rows=tuple(rows)), AIM)
    assert after.relative < before.relative
    assert stated(replace(run, rows=tuple(rows)), AIM) == pytest.approx(after.relative, rel=0.25)


def test_what_no_reading_betters_is_the_scale_where_its_gain_is_unknown() -> None:
    poor = replace(head(), scale=replace(head().scale, u_gain=0.02))  # type: ignore[type-var]
    found = outlook(replace(run_of(2), head=poor), AIM)
    assert found.hindrance == "the scale gain"
    assert found.best == pytest.approx(1.96 * 0.02, rel=0.06)
    assert outlook(run_of(2), AIM).best < 0.013


def test_a_flat_length_guessed_to_a_centimetre_stands_in_the_way_where_the_aim_is_not_read_at() -> None:
    loose = replace(head(), band=replace(head().band, u_flat_length=0.05), scale=replace(head().scale, u_gain=1e-4))  # type: ignore[type-var]
    aim = replace(AIM, length=1.15, places=(1.6, 1.7, 1.8, 1.9))
    assert outlook(Run("B1", loose, ()), aim).hindrance == "the flat length"


def test_on_paper_nothing_is_known_of_the_scatter_and_a_few_cycles_do() -> None:
    plan = paper_plan(Run("B1", head(), ()), AIM)
    assert plan.readings[:3] == first_readings(AIM)
    assert plan.relative <= 0.02
    assert len(plan.readings) <= 6
    assert len({r.cycle for r in plan.readings}) > 1


def test_on_paper_what_cannot_be_reached_is_said_and_not_chased() -> None:
    plan = paper_plan(Run("B1", head(), ()), replace(AIM, relative=0.002))
    assert plan.best > 0.002
    assert len(plan.readings) <= 30


def _recording(wanted: float) -> Recording:
    extensions = {"settings": list(PLACES), "cycles": 2, "until": {"U": wanted, "over_m": [1.3, 1.9]}}
    return Recording(replace(head(), extensions=extensions))


def _read(state: Recording) -> Recording:
    """Take what is asked for, up to the next choice."""
    while not state.asks_for_more and (slot := state.slot) is not None and not slot.closing:
        line = (
            "0"
            if slot.kind == "zero"
            else f"{float(pull(np.array(slot.setting), slot.branch or 'loading')) / 9.80665:.2f}"
        )
        state = take(state, line, 1.0).state
    return state


def test_a_recording_asks_until_it_is_enough_and_the_file_says_so() -> None:
    state = _read(_recording(0.02))
    for _ in range(20):
        if not state.asks_for_more:
            break
        state = _read(with_rows(state, (choose(state)[0],)))
    assert is_enough(state.rows)
    assert 3 <= len(state.run.readings) <= 8
    assert stated(state.run, replace(AIM, places=PLACES)) <= 0.02
    again = Recording.from_run(Run("x", state.head, state.rows))
    assert again.slot == state.slot  # the same when taken up from the file
    assert state.slot is not None
    assert state.slot.closing


def test_undo_takes_back_the_reading_and_what_was_asked_after_it() -> None:
    state = _read(_recording(0.02))
    state = _read(with_rows(state, (choose(state)[0],)))
    state = with_rows(state, (choose(state)[0],))
    assert len(course_of(state.head, state.rows).asked or ()) == 2
    state = take(state, "undo", 5.0).state
    assert len(course_of(state.head, state.rows).asked or ()) == 1
    assert state.slot is not None
    assert state.slot.setting == pytest.approx(1.3)


def _zeroed(state: Recording) -> Recording:
    return take(state, "0", 0.0).state if not state.rows else state


def _asked_to_the_end(state: Recording, lines: Sequence[str] = ()) -> Recording:
    """Go on until no more is asked for; the first readings after the zero are answered by these lines."""
    state = _zeroed(state)
    typed = iter(lines)
    for _ in range(30):
        if not state.asks_for_more:
            return state
        state = with_rows(state, (choose(state)[0],))
        line = next(typed, "")
        state = take(state, line, 1.0).state if line else _read(state)
    raise AssertionError("asked for ever")


def _lengths_out(state: Recording) -> set[float]:
    return {r.length or 0.0 for r in state.run.readings if r.branch == "loading"}


def test_a_first_reading_taken_again_leaves_none_out_and_what_is_enough_can_be_fitted() -> None:
    """Undo after the second length, then on: the third is asked for even so."""
    state = _zeroed(_recording(0.03))
    for _ in range(2):
        state = _read(with_rows(state, (choose(state)[0],)))
    state = take(with_rows(state, (choose(state)[0],)), "undo", 5.0).state
    state = _asked_to_the_end(_read(state))
    assert len(_lengths_out(state)) >= 3
    assert is_enough(state.rows)
    assert stated(state.run, replace(AIM, places=PLACES)) <= 0.03


@pytest.mark.parametrize("skips", [1, 2, 3, 4])
def test_a_place_that_is_skipped_is_not_asked_for_again_and_another_takes_its_turn(skips: int) -> None:
    state = _asked_to_the_end(_recording(0.03), ["skip"] * skips)
    asked = [slot.setting for slot in course_of(state.head, state.rows).asked or ()]
    assert not set(asked[:skips]) & set(asked[skips:])
    assert len(_lengths_out(state)) >= 3
    assert stated(state.run, replace(AIM, places=PLACES)) <= 0.03


def test_where_everything_is_skipped_the_asking_ends() -> None:
    state = _asked_to_the_end(_recording(0.03), ["skip"] * 20)
    assert is_enough(state.rows)
    assert not state.run.readings


def test_stop_ends_the_asking() -> None:
    state = _read(_recording(0.001))
    state = take(with_rows(state, (choose(state)[0],)), "stop", 5.0).state
    assert not state.asks_for_more
    assert state.slot is not None
    assert state.slot.closing


def test_plan_says_which_readings_or_what_stands_in_the_way(capsys: pytest.CaptureFixture[str]) -> None:
    assert bandcurve(["plan", "B07", "--flat", "1029mm", "--until", "1%", "--over", "1.2m..1.8m"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert re.search(r"No number of readings gets below 2\.\d %: the length offset limits it", said)
    assert "Before each new cycle, unhook the band and hook it on again." in said
    assert bandcurve(["plan", "B07", "--flat", "1029mm", "--until", "2%", "--over", "1m..1.8m"]) == 0
    said = capsys.readouterr().out
    assert "--over goes beyond the planned lengths" in said
    assert "--to plans longer" not in " ".join(said.split())  # it is too short that is asked for
    assert bandcurve(["plan", "B07", "--flat", "1029mm", "--until", "3%", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["expected_relative_u95"] <= 0.03
    assert document["hindrance"] is None
    assert bandcurve(["plan", "B07", "--flat", "1029mm", "--until", "2"]) == 2
    assert bandcurve(["plan", "B07", "--flat", "1029mm", "--until", "2%", "--over", "3m..4m"]) == 1
    assert "outside the planned lengths" in capsys.readouterr().err
    asked = ["plan", "B07", "--flat", "1029mm", "--until", "2%", "--holes", "50mm", "--first-hole", "4"]
    assert bandcurve([*asked, "--to", "1.9m", "--over", "1.2m..3m"]) == 0
    said = capsys.readouterr().out
    assert "--over goes beyond the planned lengths" in said
    assert "record B07 --flat 1029mm --until 2% --over 1.2m..3m --to 1.9m --holes 50mm --first-hole 4" in said


def test_options_that_do_not_go_together_are_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert bandcurve(["record", "B07", "--until", "2%", "--quick"]) == 2
    assert bandcurve(["record", "B07", "--over", "1.2m..1.8m"]) == 2
    assert bandcurve(["record", "B07", "--until", "2%", "--method", "hung-weight"]) == 2
    assert "--until" in capsys.readouterr().err


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_at_a_terminal_the_next_length_is_named_after_each_reading(tmp_path: Path) -> None:
    terminal = Terminal(
        ["record", "B07", "--flat", "1000mm", "--until", "3%", "--over", "1.25m..1.75m", "--no-countdown", "--no-fit"],
        tmp_path,
    )
    prompt = re.compile(r"(: |\]: )$")
    asked = re.compile(r"\[\d+\] (out|back): set ([\d.]+) mm")
    answers = iter(["", "50 kg", "0.02"])
    place: list[tuple[str, float]] = []
    for _ in range(80):  # questions and readings; a question asked for ever is a failure, not a hang
        if terminal.until([prompt]) is None:
            break
        found = asked.findall(terminal.text)
        if found:
            place.append((found[-1][0], float(found[-1][1])))
        if terminal.text.endswith("  shows, kg: "):
            way, taped = place[-1]
            stretch = (taped + 13.9) / 998.1
            terminal.send(f"{9 * (stretch - stretch**-2) * (1 + 0.4 / stretch) * (1 if way == 'out' else 0.95):.2f}")
        elif "slack" in terminal.text.rsplit("\n", 1)[-1]:
            terminal.send("0.00")
        else:
            terminal.send(next(answers, ""))
    run = read_run(tmp_path / "B07.run.csv")
    assert 3 <= len(run.readings) <= 30
    assert len({x for _, x in place}) >= 3
    said = r"Done: the pull is known to [0-3]\.\d % everywhere from 1\d+ mm to 17\d+ mm on the tape"
    assert re.search(said, terminal.all_text)
    table = fit_runs([run]).curve.loading
    inside = (table.length >= 1.25) & (table.length <= 1.75)
    assert np.all(table.u95[inside] / table.force[inside] <= 0.031)  # everywhere, not in the middle alone


@pytest.mark.slow
def test_chosen_readings_need_fewer_than_evenly_spaced_ones_and_hold() -> None:
    """A share of `python -m tests.campaigns.until`: 20 bands, coverage within 4 sqrt(p (1 - p) / N) of 95 %."""
    world = BY_NAME["hook"]
    mine = [chosen(world, 0.015, n) for n in range(20)]
    others = [even(world, 0.015, n) for n in range(8)]
    assert np.mean([o.readings for o in mine]) < 0.7 * np.mean([o.readings for o in others])
    assert np.mean([o.holds for o in mine]) > 0.95 - 4 * (0.95 * 0.05 / 20) ** 0.5
    assert isinstance(first_readings(AIM)[0], Reading)
