"""What was read before is changed, or measured again behind the others; the place of the recording does not move."""

from dataclasses import replace

import pytest

from calib.acquire.files.run_file import parse_run
from calib.acquire.recording.state import Recording
from calib.records import Row
from calib.units import G_STANDARD as KG
from tests.acquire.recording.test_state_machine import as_file, begun, shown, typed

FOUR = ("0", *(f"{shown(x):.2f}" for x in (1.1, 1.2, 1.4)))


def forces(state: Recording) -> list[float]:
    return sorted(round((r.force or 0.0) / KG, 2) for r in state.run.readings)


def test_a_changed_reading_keeps_its_place_and_time_and_the_next_place_stays() -> None:
    before = typed(begun(), *FOUR).state
    better = round(shown(1.2) + 0.05, 2)
    state = typed(before, f"change 3 {better}").state
    assert state.slot == before.slot
    assert forces(state) == sorted([round(shown(1.1), 2), better, round(shown(1.4), 2)])
    new, strike = state.rows[-2:]
    assert (new.length, new.branch, new.at_s, new.about) == (1.2, "loading", before.rows[2].at_s, "for 3")
    assert (strike.kind, strike.about) == ("strike", "3")


def test_every_beginning_of_the_file_goes_on_at_the_same_place() -> None:
    state = typed(begun(), *FOUR, f"change 3 {shown(1.2) + 0.05:.2f}", f"change 5 {shown(1.2):.2f}").state
    for n in (5, 6, 7, 8):
        again = Recording.from_run(parse_run(as_file(replace(state, rows=state.rows[:n])), "B1.run.csv"))
        assert again.slot == state.slot
    assert len(Recording.from_run(parse_run(as_file(state), "B1.run.csv")).run.readings) == 3


def test_undo_after_a_change_takes_the_last_place_back() -> None:
    state = typed(begun(), *FOUR, f"change 4 {shown(1.4) + 0.05:.2f}", "undo").state
    assert state.slot is not None
    assert state.slot.setting == 1.4
    assert len(state.run.readings) == 2


def test_a_change_that_does_not_fit_is_questioned_and_can_be_kept() -> None:
    before = typed(begun(), *FOUR).state
    step = typed(before, f"change 3 {10 * shown(1.2):.2f}")
    assert step.state.pending is not None
    assert not step.written
    assert step.state.rows == before.rows
    kept = typed(step.state, "k").state
    assert max(forces(kept)) == round(10 * shown(1.2), 2)
    assert kept.slot == before.slot


@pytest.mark.parametrize("line", ["change", "change 3", "change 99 3", "change x 3", "change 3 many", "change 3 1 @ 2"])
def test_a_change_that_says_nothing_writes_nothing(line: str) -> None:
    step = typed(begun(), *FOUR, line)
    assert not step.written
    assert step.say


def test_a_zero_and_a_flat_length_can_be_changed() -> None:
    state = typed(begun(), *FOUR, "change 1 0.05").state
    assert [r.force for r in state.run.standing("zero")] == pytest.approx([0.05 * KG])


def test_what_lies_before_a_lost_zero_is_not_changed() -> None:
    state = typed(begun(), *FOUR).state
    state = replace(state, rows=(*state.rows, Row(state.next_number, "zero-lost")))
    assert not typed(state, "change 3 4").written


def test_a_reading_is_measured_again_behind_the_others() -> None:
    state = typed(begun(cycles=1), *FOUR, "again 3 strap slipped").state
    assert state.slot is not None
    assert state.slot.setting == 1.7, "the way on stays as it was"
    for length, factor in ((1.7, 1), (2.0, 1), (1.7, 0.94), (1.4, 0.94), (1.2, 0.94), (1.1, 0.94)):
        state = typed(state, f"{factor * shown(length):.2f}").state
    assert state.slot is not None
    assert (state.slot.setting, state.slot.branch) == (1.2, "loading")
    state = typed(state, f"{shown(1.2):.2f}").state
    assert state.slot is not None
    assert state.slot.kind == "zero"
    assert len(state.run.readings) == 9
    assert Recording.from_run(parse_run(as_file(state), "B1.run.csv")).slot == state.slot


def test_undo_of_another_reading_still_asks_for_it_again() -> None:
    state = typed(begun(cycles=1), *FOUR, "again 3 strap slipped", "undo").state
    assert state.slot is not None
    assert state.slot.setting == 1.4
    assert [s.setting for s in state.slots if s.kind == "reading"][-1] == 1.2


def test_the_newest_reading_measured_again_comes_next() -> None:
    state = typed(begun(), *FOUR, "again 4 slipped").state
    assert state.slot is not None
    assert state.slot.setting == 1.4
    assert len([s for s in state.slots if s.kind == "reading"]) == 18
