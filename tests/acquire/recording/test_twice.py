"""A quick look reads each length twice: what does not agree is set once more, and nobody is blamed at the time."""

from datetime import UTC, datetime

import pytest

from calib.acquire.recording.machine import take
from calib.acquire.recording.state import Recording, with_rows
from calib.acquire.recording.twice import set_once_more
from calib.use.ask.given import Given
from calib.use.ask.head import head_of
from tests.campaigns.quick_look import ANSWERS, campaign

TRUE = ["4.90", "9.75", "16.80", "24.65"]


def looked(readings: list[str], **changes: str) -> tuple[Recording, list[str]]:
    """A quick look with these entries: what is asked again is answered by what is left of them; all that was said."""
    head, _ = head_of({**ANSWERS, **changes}, Given("B1", quick=True), datetime(2027, 3, 1, tzinfo=UTC))
    state, said = take(Recording(head), "0", 0.0).state, []
    left = list(readings)
    while left:
        if state.slot is None:
            more = set_once_more(state)
            if more is None:
                break
            said.append(more[1])
            state = with_rows(state, (state.asking(more[0]),))
        step = take(state, left.pop(0), 0.0)
        said += step.say
        state = step.state
    return state, said


@pytest.mark.parametrize("typed", ["11.25", "8.25", "9.75"])
def test_a_slip_is_not_blamed_on_the_next_reading_and_shows_in_the_second_pull(typed: str) -> None:
    """True 4.90, 9.75, 16.80, 24.65 kg: 15 % too much is not seen at once, and 15 % too little blames no later one."""
    state, said = looked(["4.90", typed, "16.80", "24.65", *TRUE, "9.80"])
    if typed == "9.75":
        assert not said
        assert len(state.run.readings) == 8
        return
    assert said == [f"The two readings there do not agree ({typed} kg, 9.75 kg). Once more:"]
    assert len(state.run.readings) == 9
    assert set_once_more(state) is None


def test_a_slip_in_the_decimal_point_is_still_questioned_at_once() -> None:
    _, said = looked(["4.90", "97.5"])
    assert "more than this scale can show" in said[0]
    _, said = looked(["4.90", "0.975"])
    assert "decimal point (9.75)" in said[0]


def test_asking_again_ends() -> None:
    """Four readings of which no two agree are left as they are; the limits then are wide."""
    state, said = looked(["4.90", "7.5", "16.80", "24.65", "4.90", "9.75", "16.80", "24.65", "12", "15.5", "9"])
    assert len(said) == 2
    assert len(state.run.readings) == 10


def test_a_light_band_is_not_asked_again_for_a_step_of_the_scale() -> None:
    _, said = looked(["0.5", "1.0", "1.7", "2.5", "0.55", "1.0", "1.7", "2.45"])
    assert not said


def test_undo_takes_the_repeat_back_and_it_is_asked_again() -> None:
    state, _ = looked(["4.90", "11.25", "16.80", "24.65", *TRUE, "13.5", "undo", "9.8"])
    assert [row.kind for row in state.rows][-4:] == ["chosen", "strike", "strike", "reading"]
    assert state.slot is None


def test_with_one_slip_the_limits_hold_and_nobody_right_is_blamed() -> None:
    """A share of `python -m tests.campaigns.quick_look`: 12 bands; 48 places less 4 standard deviations of 95 %."""
    counted = campaign((0.2,), 12)[0.2]
    assert counted.refused == 0
    assert counted.held / counted.places > 0.95 - 4 * (0.95 * 0.05 / 48) ** 0.5
    assert counted.blamed <= 0.02 * counted.correct
