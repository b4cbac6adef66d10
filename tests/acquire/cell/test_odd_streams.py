"""Odd devices with a pull in them: where a word or a mark may turn the number round, it is asked, and none is wrong."""

import pytest

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen, LineFormat, parse_format, parse_pattern
from calib.acquire.cell.lines import Record
from tests.acquire.cell import streams_odd
from tests.acquire.cell.kinds import LineOfAKind
from tests.acquire.cell.pulls import LINES
from tests.acquire.cell.test_streams import wrong_in

SEVEN_BITS = [stream for stream in streams_odd.EVERY if stream.stream(LINES).isascii()]


def _asked(stream: LineOfAKind, data: bytes) -> tuple[list[Record], list[str]]:
    """The readings, and every question on the way."""
    reader, readings, asked = LineReader(), list[Record](), list[str]()
    for k in range(0, len(data), 16):
        readings += [r for r in reader.feed(data[k : k + 16], k / 100) if r.kind == "reading"]
        if reader.question is not None:
            asked.append(reader.question.text)
    return readings, asked


@pytest.mark.parametrize("stream", streams_odd.WORDS_BELOW, ids=lambda stream: stream.name)
def test_a_word_that_may_mean_below_zero_is_asked_about(stream: LineOfAKind) -> None:
    readings, asked = _asked(stream, stream.stream(LINES))
    assert wrong_in(stream, readings) == []
    assert any("may mean below zero, or nothing" in text for text in asked)


@pytest.mark.parametrize("stream", streams_odd.CHANGED, ids=lambda stream: stream.name)
def test_lines_that_change_a_word_or_a_mark_are_asked_about_and_shown(stream: LineOfAKind) -> None:
    readings, asked = _asked(stream, stream.stream(LINES))
    assert readings
    assert wrong_in(stream, readings) == []
    shown = {repr(stream.line(i).strip()[:48]) for i in range(LINES)}
    assert any(line in text for text in asked for line in shown)


@pytest.mark.parametrize("stream", streams_odd.GOES_ON, ids=lambda stream: stream.name)
def test_a_word_that_comes_far_from_zero_while_the_force_goes_on_says_nothing_of_its_sign(stream: LineOfAKind) -> None:
    readings, asked = _asked(stream, stream.stream(LINES))
    assert asked == []
    assert len(readings) >= LINES - 20  # of which the change is told
    assert wrong_in(stream, readings) == []


@pytest.mark.parametrize("stream", streams_odd.NEVER_WRONG + streams_odd.IN_PIECES, ids=lambda stream: stream.name)
def test_what_cannot_be_read_is_not_read_wrong(stream: LineOfAKind) -> None:
    readings, _ = _asked(stream, stream.stream(LINES))
    assert wrong_in(stream, readings) == []


@pytest.mark.parametrize("stream", SEVEN_BITS, ids=lambda stream: stream.name)
def test_seven_bits_with_parity_seen_as_eight_give_no_wrong_number(stream: LineOfAKind) -> None:
    data = bytes(byte | byte.bit_count() % 2 << 7 for byte in stream.stream(LINES))
    readings, _ = _asked(stream, data)
    assert wrong_in(stream, readings) == []


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("dots between thousands of whole grams", parse_format("thousands-dot g")),
        ("push or pull behind", parse_pattern("{value kg} kg PULL")),
        ("a letter for the way", parse_pattern("T {value kg}")),
        ("letters of a ledger", parse_pattern("{value kg} kg DR")),
    ],
)
def test_the_answer_to_such_a_question_is_taken(name: str, answer: LineFormat) -> None:
    stream = next(stream for stream in streams_odd.EVERY if stream.name == name)
    readings = [r for r in LineReader(Chosen(format=answer)).feed(stream.stream(LINES), 0.0) if r.kind == "reading"]
    above = sum(stream.value(i) >= 0 for i in range(LINES))
    assert len(readings) >= 0.97 * above
    assert wrong_in(stream, readings) == []
