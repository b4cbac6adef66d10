"""Invented devices with a pull in them: read right, asked about, or said, and never wrong.

What may be read wrong here is a person's curve, so every reading of every stream is held against what its device meant.
"""

from dataclasses import dataclass

import pytest

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen, LineFormat, parse_format, parse_pattern
from calib.acquire.cell.lines import Record
from tests.acquire.cell import (
    streams_asked,
    streams_columns,
    streams_numbers,
    streams_odd,
    streams_status,
    streams_tried,
    streams_units,
    streams_wire,
)
from tests.acquire.cell.kinds import LineOfAKind
from tests.acquire.cell.pulls import LINES, REST

ROOMS = (streams_numbers, streams_units, streams_status, streams_columns, streams_wire, streams_tried, streams_odd)
PLAIN = tuple(stream for room in ROOMS for stream in room.STREAMS)
ASKED = streams_asked.STREAMS + streams_tried.ASKED + streams_odd.ASKED + streams_odd.RANGE_OR_TIMES
NAMES = [stream.name for stream in PLAIN]
ENOUGH = 0.97  # of the lines
SOON = 20  # lines: two seconds at ten a second
ONLY_ONCE_PULLED = {"digits turned round", "digits turned round, sign last", "equals sign, digits as they are"}
STARRED = {"a star while it moves", "a star while it stands"}  # what a star means is told once the load has moved


@dataclass(frozen=True)
class Heard:
    """What came out of a stream."""

    records: list[Record]
    reader: LineReader

    @property
    def readings(self) -> list[Record]:
        """Only the readings."""
        return [record for record in self.records if record.kind == "reading"]


def hear(stream: LineOfAKind, chosen: Chosen | None = None) -> Heard:
    """Feed a stream at ten lines a second."""
    reader = LineReader(chosen)
    data = stream.stream(LINES)
    size = max(1, len(data) // LINES)
    records: list[Record] = []
    for k in range(0, len(data), size):
        records += reader.feed(data[k : k + size], 0.1 * k / size)
    return Heard(records + reader.finish(0.1 * LINES), reader)


def wrong_in(stream: LineOfAKind, readings: list[Record]) -> list[Record]:
    """Readings that are not what the device meant, line for line, in its order."""
    wrong, line = [], 0
    for reading in readings:
        number = reading.counts if stream.unit is None else reading.value
        while line < LINES and not (number is not None and stream.value(line) == pytest.approx(number, abs=1e-9)):
            line += 1
        right = line < LINES and reading.unit == stream.unit
        right = right and (
            reading.stable == stream.stable_at(line) or (stream.name in STARRED and reading.stable is None)
        )
        if right and stream.length is not None:
            right = reading.length == pytest.approx(stream.length(line))
        if not right:
            wrong.append(reading)
            line = 0
        line += 1
    return wrong


def test_the_streams_are_many_and_each_has_its_name() -> None:
    assert len(PLAIN) + len(ASKED) + len(streams_asked.REFUSED) >= 290
    assert len(set(NAMES)) == len(NAMES)


@pytest.mark.parametrize("stream", PLAIN, ids=NAMES)
def test_a_stream_that_means_one_thing_is_read(stream: LineOfAKind) -> None:
    heard = hear(stream)
    assert heard.reader.question is None
    assert len(heard.readings) >= ENOUGH * LINES
    assert wrong_in(stream, heard.readings) == []
    assert not [record for record in heard.records if record.kind == "reset"]


@pytest.mark.parametrize(
    "stream", [stream for stream in PLAIN if stream.name in STARRED], ids=lambda stream: stream.name
)
def test_what_a_star_means_is_told_once_the_load_has_moved(stream: LineOfAKind) -> None:
    last = hear(stream).readings[-60:]
    assert {reading.stable for reading in last} == {True, False}


@pytest.mark.parametrize("stream", PLAIN, ids=NAMES)
def test_its_first_value_comes_within_two_seconds(stream: LineOfAKind) -> None:
    reader = LineReader()
    data = stream.stream(REST if stream.name in ONLY_ONCE_PULLED else SOON)
    data += stream.stream(LINES)[len(data) :][: 2 if not stream.end else 0]
    if stream.name in ONLY_ONCE_PULLED:
        assert not [r for r in reader.feed(data, 0.0) if r.kind == "reading"]  # at rest nobody can tell
    else:
        least = 1 if stream.end else 0  # without ends, the first 128 bytes are needed to see it
        assert len([r for r in reader.feed(data, 0.0) if r.kind == "reading"]) >= least


@pytest.mark.parametrize("stream", PLAIN, ids=NAMES)
def test_its_format_is_kept_and_used_again(stream: LineOfAKind) -> None:
    form = hear(stream).reader.format
    assert form is not None
    again = LineFormat.from_document(form.document())
    assert again == form
    heard = hear(stream, Chosen(format=again))
    assert len(heard.readings) >= ENOUGH * LINES
    assert wrong_in(stream, heard.readings) == []


@pytest.mark.parametrize("stream", ASKED, ids=lambda stream: stream.name)
def test_a_stream_that_may_mean_two_things_is_asked_about_and_the_answer_is_taken(stream: LineOfAKind) -> None:
    heard = hear(stream)
    assert heard.readings == []
    assert heard.reader.question is not None
    assert stream.asked in heard.reader.question.text  # the line is shown
    answer = parse_pattern(stream.answer) if stream.pattern else parse_format(stream.answer)
    answered = hear(stream, Chosen(format=answer))
    assert len(answered.readings) >= ENOUGH * LINES
    assert wrong_in(stream, answered.readings) == []


@pytest.mark.parametrize("stream", streams_asked.REFUSED, ids=lambda stream: stream.name)
def test_a_stream_without_a_force_is_said_to_have_none(stream: LineOfAKind) -> None:
    heard = hear(stream)
    assert heard.readings == []
    assert heard.reader.question is not None
    assert "hold no force" in heard.reader.question.text
    assert stream.refused in heard.reader.question.text
