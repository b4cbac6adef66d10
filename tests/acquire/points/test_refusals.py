"""Every way in which a hold is not taken is said, and within three seconds of when it shows (docs/held_points.md)."""

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np
import pytest

from calib.acquire.cell.lines import Record
from calib.acquire.cell.meter import Meter
from calib.acquire.points.hands_free import HandsFree
from calib.acquire.points.held import Grip
from calib.acquire.points.length_sensor import LengthTrace, Mark, tied
from calib.acquire.recording import course as courses
from calib.acquire.recording.course import Course, extensions_of
from calib.acquire.recording.plan import neo_hooke, section_stiffness
from calib.acquire.recording.state import Recording
from calib.records import Band, CheckLoad, LengthSetup, Procedure, Row, RunHead, ScaleInUse
from calib.use.cell.doing import _doing

SOON_S = 3.0
HELD_S = 5.0  # from here on it stands
Force = Callable[[float], float]
ZERO = Row(1, "zero", force=0.0, at_s=0.0)
FIRST = Row(2, cycle=1, branch="loading", length=1.15, force=34.0, at_s=60.0)
STIFF = (ZERO, FIRST, Row(3, cycle=1, branch="loading", length=1.25, force=56.0, at_s=90.0))


def _work(rows: tuple[Row, ...], grip: Grip = "strap", *, dwell_s: float = 10.0, plate: bool = False) -> HandsFree:
    course = Course((1.15, 1.25, 1.4), 1, dwell_s=dwell_s, closing=True, capacity=1000.0)
    head = RunHead(
        Band("T1", 1.029, thickness=0.0045, width=0.03),
        LengthSetup("half-path"),
        ScaleInUse("cell", 0.01),
        Procedure(dwell_s=dwell_s, temperature=20.0),
        check_load=CheckLoad("P1", 5.0) if plate else None,
        started=datetime(2027, 3, 5, tzinfo=UTC),
        extensions=extensions_of(course),
    )
    return HandsFree(Recording(head, rows), Meter(step=0.01), grip, lambda pull: 0.0, same_line=True)


def _said_at(work: HandsFree, force: Force, what: str, rate: float = 10.0, for_s: float = 40.0) -> float:
    """When something is said, counted from when it stands. [s]"""
    rng = np.random.default_rng(1)
    for t in np.arange(0.0, HELD_S + for_s, 1 / rate):
        value = force(float(t)) + rng.normal() * 0.01
        act = work.feed(Record(float(t), "reading", "", value=value, unit="N"), float(t))
        if any(what in text for text in act.say):
            return float(t) - HELD_S
        assert not act.rows, "it was taken"
    raise AssertionError(f"never said: {what}")


def _to(newton: float, begin: float = 0.0) -> Force:
    """A pull that ends at HELD_S."""
    return lambda t: begin + (newton - begin) * float(np.clip((t - 3.0) / (HELD_S - 3.0), 0, 1))


def _swaying(share: float, newton: float = 60.0) -> Force:
    return lambda t: _to(newton)(t) * (1 + share * np.sin(6.0 * t) * (t > HELD_S))


def _creeping(share_per_s: float, newton: float = 60.0) -> Force:
    return lambda t: _to(newton)(t) * (1 + share_per_s * max(t - HELD_S, 0.0))


@pytest.mark.parametrize(
    ("work", "force", "what"),
    [
        (_work((ZERO,)), _swaying(0.06), "It swings by"),
        (_work((ZERO,), "hand"), _swaying(0.09), "It swings by"),
        (_work((ZERO,), plate=True), _swaying(0.05, 49.0), "let it hang still"),
        (_work((ZERO,)), _creeping(0.010), "it still moves by"),
        (_work((ZERO,)), _creeping(0.005), "it still moves by"),
        (_work((ZERO,)), _creeping(0.003), "it still moves by"),
        (_work((ZERO,)), _to(2.0), "counts as a slack band"),
        (_work((ZERO,)), _to(-40.0), "the cell is reversed"),
        (_work(STIFF), lambda t: _to(80.0, 140.0)(t) if t > 3.0 else 140.0 * min(1.0, t), "from the longer side"),
        (_work((ZERO,), plate=True), lambda t: _to(0.4, 49.0)(t) if t > 1.0 else 0.0, "is nearly nothing"),
        (_work((ZERO,), plate=True), _to(98.0), "hangs there; the known plate shows about"),
    ],
    ids=[
        *("sways", "sways by hand", "a plate that sways", "goes on at 1 %/s", "goes on at 0.5 %/s"),
        *("goes on at 0.3 %/s", "slack", "the cell is reversed", "from the wrong side", "no plate", "another load"),
    ],
)
def test_why_a_hold_is_not_taken_is_said_within_three_seconds(work: HandsFree, force: Force, what: str) -> None:
    assert _said_at(work, force, what) <= SOON_S


def test_a_later_zero_that_still_pulls_is_said_at_once() -> None:
    rows = (
        ZERO,
        FIRST,
        Row(3, "zero-lost", at_s=70.0, note="gone"),
        Row(4, "zero", force=90.0, at_s=80.0, about="between"),
    )
    work = _work(rows)
    work.key("z", 0.0)
    assert not work.waits_for_key
    assert _said_at(work, _to(60.0, 90.0), "It stands at") <= SOON_S


@pytest.mark.parametrize("share_per_s", [-0.012, -0.008, -0.007, -0.006])
def test_a_strap_that_slips_as_rubber_relaxes_is_said_when_its_bell_does_not_come(share_per_s: float) -> None:
    """No rubber loses 10 % in ten times the time; until it has, a slip and relaxing are one."""
    assert _said_at(_work((ZERO,)), _creeping(share_per_s), "it still moves by") <= 15.0 + SOON_S


def test_by_hand_a_pull_that_goes_on_is_said_when_its_trend_has_been_looked_at() -> None:
    """Sway hides the trend of a hand: the window ends at 8 s, and a stop found late has a window of its own."""
    assert _said_at(_work((ZERO,), "hand"), _creeping(0.012), "it still moves by") <= 2 * 8.0


@pytest.mark.parametrize(
    ("grip", "share_per_s"),
    [("strap", -0.012), ("strap", -0.008), ("strap", -0.006), ("hand", 0.012), ("hand", -0.015)],
)
def test_until_then_what_is_waited_for_is_shown_within_three_seconds(grip: Grip, share_per_s: float) -> None:
    work, pull, rng = _work((ZERO,), grip), _creeping(share_per_s), np.random.default_rng(2)
    shown = {}
    for t in np.arange(0.0, HELD_S + 12.0, 0.1):
        force = pull(float(t)) + rng.normal() * 0.01
        work.feed(Record(float(t), "reading", "", value=force, unit="N"), float(t))
        shown[round(float(t) - HELD_S, 1)] = _doing(work, float(t))
    way = "rising" if share_per_s > 0 else "falling"
    assert any(f"s, {way} 0." in words for at, words in shown.items() if 0 < at <= SOON_S)


def test_of_a_strap_that_holds_it_is_soon_shown_no_more() -> None:
    work = _work((ZERO,))
    for t in np.arange(0.0, HELD_S + 8.0, 0.1):
        force = _to(60.0)(float(t)) * (1 - 0.02 * np.log10(1 + max(t - HELD_S, 0.0) / 0.2))
        work.feed(Record(float(t), "reading", "", value=force, unit="N"), float(t))
    assert _doing(work, HELD_S + 8.0).startswith("hold still:")
    assert "falling" not in _doing(work, HELD_S + 8.0)


@pytest.mark.parametrize("rate", [0.9, 1.0])
def test_a_line_too_slow_for_the_wait_says_so_when_the_wait_is_over(rate: float) -> None:
    assert (
        _said_at(_work((ZERO,), dwell_s=2.0), _to(60.0), "too few readings in so short a wait", rate)
        <= 8 / rate + 3.0 + SOON_S
    )


def test_a_length_far_from_the_plan_or_none_at_all_is_said_within_three_seconds() -> None:
    sensor = tied(Mark(1150.0, 0.1, 1.15), Mark(1800.0, 0.1, 1.8), 0.002)
    for reading, what in ((1400.0, "the sensor reads 1400 mm, 1150 mm is planned"), (None, "sensor sent nothing")):
        work = _work((ZERO,))
        work.lengths = LengthTrace(sensor)
        if reading is not None:
            for t in np.arange(0.0, 20.0, 0.1):
                work.lengths.add(float(t), reading)
        assert _said_at(work, _to(60.0), what) <= SOON_S


@pytest.mark.parametrize(("times", "asked"), [(0.6, False), (1.0, False), (1.7, False), (2.2, True), (0.45, True)])
def test_the_very_first_reading_in_another_unit_is_asked_about(times: float, asked: bool) -> None:
    work = _work((ZERO,))
    expected = section_stiffness(work.state.head.band)
    assert expected is not None
    pull = times * expected * neo_hooke(courses.geometry(work.state.head).stretch(1.15))
    said = ""
    for t in np.arange(0.0, HELD_S + 20.0, 0.1):
        force = _to(pull)(float(t))
        said += " ".join(work.feed(Record(float(t), "reading", "", value=force, unit="N"), float(t)).say)
    assert ("from width and thickness. Are the line's unit" in said) == asked
    assert (work.state.pending is not None) == asked
    assert bool(work.state.run.readings) != asked


def test_a_line_that_falls_silent_in_a_hold_says_that_it_begins_anew() -> None:
    work = _work((ZERO,))
    for t in (*np.arange(0.0, 9.0, 0.1), *np.arange(15.0, 15.5, 0.1)):
        act = work.feed(Record(float(t), "reading", "", value=_to(60.0)(float(t)), unit="N"), float(t))
        if t >= 15.0:
            assert "silent for 6 s: the hold begins again" in "".join(act.say)
            return


@pytest.mark.parametrize("kind", ["overload", "fault"])
@pytest.mark.parametrize("rate", [1.0, 10.0, 80.0])
def test_an_overload_or_a_fault_is_said_within_three_seconds(kind: str, rate: float) -> None:
    work = _work((ZERO,))
    for i in range(10):
        if work.feed(Record(i / rate, "overload" if kind == "overload" else "fault", "OL"), i / rate).say:
            assert i / rate <= SOON_S
            return
    raise AssertionError("never said")
