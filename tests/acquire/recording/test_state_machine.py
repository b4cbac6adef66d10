"""The recording without a terminal: typed lines in, rows and sentences out; its place follows from the rows alone."""

from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from calib.acquire.files.run_file import columns_for, format_head, format_row, parse_run
from calib.acquire.recording.course import Course, extensions_of
from calib.acquire.recording.machine import take
from calib.acquire.recording.state import Recording, Step
from calib.errors import DataError
from calib.records import Band, CheckLoad, LengthSetup, Loads, Method, Procedure, RunHead, ScaleInUse
from calib.units import G_STANDARD as KG

LENGTHS = (1.1, 1.2, 1.4, 1.7, 2.0)


def shown(length: float, level: float = 12.0) -> float:
    """Of an invented band of flat length 1 m, taped as half path. [kg]"""
    return level * (1 + 0.5 / length) * (length - length**-2)


def begun(method: Method = "scale-in-line", **changes: object) -> Recording:
    course = Course(LENGTHS, cycles=2, capacity=100 * KG)
    head = RunHead(
        Band("B1", 1.0, strands=1),
        LengthSetup("half-path"),
        ScaleInUse("hook", 0.05 * KG),
        Procedure(method=method, dwell_s=10.0),
    )
    if method == "hung-weight":
        course = replace(course, settings=(5.0, 10.0, 15.0))
        head = replace(head, scale=None, loads=Loads("plates"))
    if "check_load" in changes:
        head = replace(head, check_load=CheckLoad("P10", 10.0))
        changes.pop("check_load")
    course = replace(course, **changes)  # type: ignore[arg-type]
    return Recording(replace(head, extensions=extensions_of(course)))


def typed(state: Recording, *lines: str) -> Step:
    step = Step(state)
    for i, line in enumerate(lines):
        step = take(step.state, line, float(i))
    return step


def walked(state: Recording) -> Recording:
    """Answer everything truthfully to the end."""
    return walked_with(state, 12.0)


def walked_with(state: Recording, level: float) -> Recording:
    """The same with another band."""
    while state.slot is not None:
        slot = state.slot
        if slot.kind == "reading" and slot.setting is not None:
            back = 0.94 if slot.branch == "unloading" else 1.0
            line = f"{back * shown(slot.setting, level):.2f}"
        else:
            line = {"zero": "0", "check-load": "10.02", "flat": "1001"}[slot.kind]
        step = take(state, line, 1.0)
        assert step.written, step.say
        state = step.state
    return state


def as_file(state: Recording) -> bytes:
    columns = columns_for(mass_unit="kg" if state.hung else None)
    text = format_head(state.head) + ",".join(columns) + "\n" + "".join(format_row(r, columns) for r in state.rows)
    return text.encode()


def test_a_whole_recording_holds_every_slot_in_order() -> None:
    rows = walked(begun(check_load=True)).rows
    ends = ["zero", "check-load"]
    assert [r.kind for r in rows] == [*ends, *["reading"] * 18, *ends, "flat"]
    assert [r.length for r in rows[2:11]] == [*LENGTHS, *LENGTHS[-2::-1]]
    assert [r.branch for r in rows[2:11]] == ["loading"] * 5 + ["unloading"] * 4
    assert all(r.dwell_s == 10.0 for r in rows[2:20])


def test_any_beginning_of_the_file_is_taken_up_at_the_same_place() -> None:
    whole = walked(begun())
    for n in range(len(whole.rows) + 1):
        part = replace(whole, rows=whole.rows[:n])
        again = Recording.from_run(parse_run(as_file(part), "B1.run.csv"))
        assert again.index == n
        assert again.slot == (whole.slots[n] if n < len(whole.slots) else None)


def test_comma_unit_and_own_length() -> None:
    step = typed(begun(), "0", "5,20", "19.6 lb @ 1210")
    assert [r.force for r in step.state.rows[1:]] == pytest.approx([5.2 * KG, 19.6 * 0.45359237 * KG])
    assert step.state.rows[2].length == pytest.approx(1.21)


def test_undo_strikes_and_asks_again() -> None:
    state = typed(begun(), "0", f"{shown(1.1):.2f}", "undo").state
    assert state.rows[-1].kind == "strike"
    assert (state.rows[-1].about, state.rows[-1].note) == ("2", "undone")
    assert state.slot is not None
    assert state.slot.setting == 1.1
    assert typed(state, f"{shown(1.1):.2f}").state.run.readings[0].number == 4


def test_undo_twice_goes_back_two() -> None:
    state = typed(begun(), "0", f"{shown(1.1):.2f}", f"{shown(1.2):.2f}", "undo", "undo").state
    assert state.index == 1
    assert set(state.run.struck) == {2, 3}


def test_an_earlier_row_struck_with_its_reason_is_not_asked_again() -> None:
    state = typed(begun(), "0", f"{shown(1.1):.2f}", f"{shown(1.2):.2f}", "strike 2 hook slipped").state
    assert state.run.struck == {2: "hook slipped"}
    assert state.slot is not None
    assert state.slot.setting == 1.4


def test_strike_needs_a_row_and_a_reason() -> None:
    for line in ("strike", "strike 2", "strike x y", "strike 99 no such row"):
        assert typed(begun(), "0", line).written == ()


def test_skip_note_and_stop() -> None:
    step = typed(begun(), "0", "skip", "note chalk", f"{shown(1.2):.2f}", "stop")
    assert [r.kind for r in step.state.rows] == ["zero", "skipped", "note", "reading"]
    assert step.state.rows[2].note == "chalk"
    assert step.state.slot is not None
    assert step.state.slot.closing
    done = typed(step.state, "0", "1000").state
    assert done.slot is None
    assert Recording.from_run(parse_run(as_file(done), "B1.run.csv")).slot is None


def test_a_doubtful_reading_is_kept_when_typed_again_or_told_to() -> None:
    for insist in ("52.0", "keep", "y"):
        step = typed(begun(), "0", f"{shown(1.1):.2f}", "52.0")
        assert step.written == ()
        assert "Expected about 8" in step.say[0]
        kept = typed(step.state, insist)
        assert [r.force for r in kept.written] == pytest.approx([52.0 * KG])
        assert kept.written[0].about == "kept"


def test_a_doubtful_reading_is_replaced_by_the_next_one() -> None:
    good = f"{shown(1.2):.2f}"
    state = typed(begun(), "0", f"{shown(1.1):.2f}", f"{10 * shown(1.2):.1f}", good).state
    assert [r.force for r in state.run.readings][1] == pytest.approx(float(good) * KG)
    assert len(state.rows) == 3


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("-7.9", "hook reversed"),
        ("79.1", "decimal point"),
        ("1200", "length typed in its place"),
        ("130", "more than this scale can show"),
        ("0", "no pull at all"),
        ("12.6 @ 3350", "flat length"),
        ("12.6 @ 120", "cm instead of mm"),
    ],
)
def test_slips_are_named(line: str, words: str) -> None:
    step = typed(begun(), "0", f"{shown(1.1):.2f}", line)
    assert step.written == ()
    assert words in " ".join(step.say)


def test_a_length_below_the_flat_length_cannot_be_kept() -> None:
    step = typed(begun(), "0", "5.0 @ 400", "keep")
    assert step.written == ()
    assert "below the flat length" in step.say[0]


def test_hung_weights_read_lengths_and_know_inches_from_millimetres() -> None:
    state = begun("hung-weight")
    step = typed(state, "1180", "55 1/2 in")
    assert [r.mass for r in step.state.rows] == [5.0, 10.0]
    assert step.state.rows[1].length == pytest.approx(55.5 * 0.0254)
    wrong = typed(step.state, "65")
    assert wrong.written == ()
    assert "in instead of mm" in wrong.say[0]


def test_help_says_for_hung_weights_what_stands_behind_the_at_sign() -> None:
    assert "1290 @ 12.5     the reading, with a load" in "".join(typed(begun("hung-weight"), "help").say)
    assert "16.35 @ 1290    the reading, at a length" in "".join(typed(begun(), "help").say)


@pytest.mark.parametrize(("unit", "example"), [("cm", "129 "), ("in", "50.8"), ("m", "1.29")])
def test_help_gives_a_length_of_your_own_in_the_unit_of_the_tape(unit: str, example: str) -> None:
    assert f"16.35 @ {example}    the reading" in "".join(typed(begun(length_unit=unit), "help").say)


def test_an_anchor_on_a_platform_scale_reads_less_as_the_band_pulls() -> None:
    state = typed(begun("anchor-on-scale"), "80", f"{80 - shown(1.1):.2f}").state
    assert len(state.run.readings) == 1
    assert "no pull at all" in typed(state, "85").say[0]
    state = typed(begun("anchor-on-scale"), "20", f"{20 - shown(1.1):.2f}", "keep").state
    assert state.slot is not None
    assert 1.1 < (state.slot.setting or 0) < 2.0
    assert [s for s in state.rows if s.kind in ("left-out", "planned")], "the anchor would lift: a shorter plan"


EIGHT = (1.1, 1.15, 1.25, 1.4, 1.55, 1.7, 1.85, 2.0)


def nearing_the_limit() -> Recording:
    """The first reading is a little low, so that only the third shows that the last length is too much."""
    state = typed(begun(capacity=32 * KG, settings=EIGHT), "0", f"{0.95 * shown(1.1):.2f}").state
    state = typed(state, f"{shown(1.15):.2f}").state
    assert not [r for r in state.rows if r.kind in ("left-out", "planned")], "two lengths close together decide nothing"
    return typed(state, f"{shown(1.25):.2f}").state


def test_lengths_beyond_four_fifths_of_capacity_are_left_out_everywhere() -> None:
    state = nearing_the_limit()
    left = [r.length for r in state.rows if r.kind == "left-out"]
    assert left
    assert all(shown(x or 0.0) > 0.9 * 0.8 * 32 for x in left)
    lengths = [r.length for r in walked(state).run.readings]
    assert not set(lengths) & set(left)


def test_undo_takes_back_what_was_left_out_with_it() -> None:
    state = nearing_the_limit()
    left = {r.number for r in state.rows if r.kind == "left-out"}
    assert left
    state = take(state, "undo", 1.0).state
    assert left < set(state.run.struck)
    assert state.slot is not None
    assert state.slot.setting == 1.25
    state = typed(state, f"{0.95 * shown(1.25):.2f}").state
    assert not [r for r in state.run.standing("left-out") if r.length == 2.0]


def test_a_band_too_strong_for_the_scale_is_measured_as_far_as_the_scale_goes() -> None:
    state = walked(typed(begun(capacity=20 * KG), "0", f"{shown(1.1):.2f}", "keep").state)
    pulls = [r.force or 0.0 for r in state.run.readings]
    assert len(pulls) == 2 * 9
    assert 14 * KG < max(pulls) <= 16.1 * KG


def test_a_first_reading_is_held_against_the_whole_plan_and_the_slip_is_named() -> None:
    state = begun(capacity=50 * KG)
    step = typed(state, "0", "49")
    assert step.state.run.readings == ()
    assert "Looks like the decimal point (4.9)" in step.say[0]
    assert "at 2000 mm" in step.say[0]
    assert len(typed(step.state, "4.9").state.run.readings) == 1


def test_a_first_reading_that_stands_leads_to_a_shorter_plan_that_outlives_a_cut_off() -> None:
    step = typed(begun(capacity=50 * KG), "0", "15", "15")
    assert "A shorter plan, from the first readings" in step.say[0]
    again = Recording.from_run(parse_run(as_file(step.state), "B1.run.csv"))
    assert again.slot == step.state.slot
    assert again.course.settings[0] == 1.1
    assert again.course.settings[-1] < 1.6
    lengths = [r.length for r in walked_with(again, 15 / shown(1.1) * 12).run.readings]
    assert len(lengths) == 2 * (2 * len(again.course.settings) - 1)


def test_undo_brings_the_first_plan_back() -> None:
    state = typed(begun(capacity=50 * KG), "0", "15", "keep", "undo").state
    assert state.course.settings == LENGTHS
    assert state.slot is not None
    assert state.slot.setting == 1.1


def test_a_first_reading_near_the_limit_leaves_no_room_and_says_so() -> None:
    step = typed(begun(capacity=50 * KG), "0", "49", "keep")
    assert "start again with shorter lengths" in step.say[0]
    assert step.state.slot is not None
    assert step.state.slot.setting in (None, 1.1)


def test_after_a_kept_slip_the_right_reading_names_the_one_before() -> None:
    state = typed(begun(capacity=200 * KG), "0", "42", "keep").state
    assert state.run.readings
    step = typed(state, f"{shown(state.slot.setting):.2f}" if state.slot and state.slot.setting else "")
    assert "42 kg at 1100 mm" in step.say[0]
    assert "the decimal point (4.2)" in step.say[0]
    assert "undo" in step.say[0]


def test_a_menu_digit_is_no_zero_and_a_zero_just_set_is_questioned() -> None:
    state = begun(capacity=50 * KG)
    assert typed(state, "1").written == ()
    assert "right after zeroing" in typed(state, "1").say[0]
    assert typed(state, "0.05").written[0].force == pytest.approx(0.05 * KG)
    assert len(typed(state, "1", "keep").state.rows) == 1


def test_a_weight_on_the_platform_beyond_what_the_scale_shows_is_questioned() -> None:
    step = typed(begun("anchor-on-scale"), "1000")
    assert step.written == ()
    assert "more than this scale can show (100 kg)" in step.say[0]


def test_enter_alone_is_no_closing_zero() -> None:
    state = walked(begun())
    closing = replace(state, rows=state.rows[:-2])
    step = typed(closing, "")
    assert step.written == ()
    assert "even if it is 0" in step.say[0]


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("settings", "x"),
        ("settings", [1.2, "x"]),
        ("settings", [1.2, -3.0]),
        ("cycles", "many"),
        ("cycles", 100_000_000),
        ("length_unit", 5),
        ("force_unit", "stone"),
        ("capacity_N", True),
        ("hole_pitch_m", "a"),
    ],
)
def test_a_course_written_by_hand_that_is_none_is_one_sentence(key: str, value: object) -> None:
    state = begun()
    state = replace(state, head=replace(state.head, extensions={**state.head.extensions, key: value}))
    with pytest.raises(DataError, match=key):
        _ = state.course


def test_way_back_false_asks_no_way_back() -> None:
    assert all(s.branch != "unloading" for s in begun(way_back=False).slots)


WORDS_TYPED = ["undo", "skip", "stop", "keep", "rows", "help", "5.2", "8", "11000", "-11000", "1e9", "9" * 39]
WORDS_TYPED += ["zero 11000", "zero -0.05", "change 1 11000", "change 1 0.02", "again 2", "strike 1 misread"]
OWN_SETTINGS = ["5 @ 0.001", "5 @ 1150", "5 @ 9000000", "1290 @ 12.5", "1290 @ 20000", "1290 @ 0", "9000000 @ 5"]
LINES_TYPED = st.lists(st.one_of(st.text(max_size=40), st.sampled_from(WORDS_TYPED + OWN_SETTINGS)), max_size=12)
METHODS = st.sampled_from(["scale-in-line", "anchor-on-scale", "hung-weight"])
HELD = st.one_of(st.none(), st.floats(0.0, 1e6))


@settings(max_examples=100, deadline=None)
@example(["11000", "KEEP"], "scale-in-line", None)
@example(["11000", "k"], "anchor-on-scale", None)
@example(["zero 11000"], "scale-in-line", None)
@example(["0", "keep", "change 1 11000", "keep"], "scale-in-line", None)
@example(["1290 @ 20000", "keep"], "hung-weight", None)
@example(["9000000 @ 5", "keep"], "hung-weight", None)
@example(["1290 @ 0", "keep"], "hung-weight", None)
@example(["0", "5 @ 9000000", "keep"], "scale-in-line", 3.0)
@given(LINES_TYPED, METHODS, HELD)
def test_no_line_breaks_it_and_the_file_says_the_same(lines: list[str], method: Method, held_s: float | None) -> None:
    state = begun(method)
    for i, line in enumerate(lines):
        if state.slot is None:
            break
        state = take(state, line, float(i), held_s).state
    assert [r.number for r in state.rows] == list(range(1, len(state.rows) + 1))
    again = Recording.from_run(parse_run(as_file(state), "B1.run.csv"))
    assert again.place == state.place


@pytest.mark.parametrize("entry", ["11000", "-11000", "24300 lb", "110000 N"])
def test_a_force_that_no_file_may_hold_is_not_kept(entry: str) -> None:
    step = typed(begun(), entry, "keep")
    assert step.written == ()
    assert "more than any band pulls" in step.say[0]
    assert step.state.pending is None
    assert "more than any band pulls" in typed(begun(), f"zero {entry}").say[0]
