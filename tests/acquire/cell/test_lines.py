"""Every kind of line, whole, cut at every byte, with a banner before it and rubbish behind."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_doubts import BROKEN
from calib.acquire.cell.line_format import Chosen, LineFormat, parse_format
from calib.acquire.cell.line_grammar import grammar
from calib.acquire.cell.lines import LONGEST, Kind, LineSplitter, RawLine, Record
from calib.acquire.cell.replay import timed_lines
from calib.errors import DataError
from tests.acquire.cell.kinds import BANNER, KINDS, NO_NUMBERS, RUBBISH, SAMPLES, LineOfAKind
from tests.acquire.cell.test_streams import PLAIN


def _read(data: bytes, column: int | None = None, cut: int | None = None) -> tuple[list[Record], LineReader]:
    reader = LineReader(Chosen(column=column))
    parts = [data] if cut is None else [data[:cut], data[cut:]]
    records = [record for part in parts for record in reader.feed(part, 0.0)]
    return records + reader.finish(0.0), reader


def _readings(records: list[Record]) -> list[Record]:
    return [record for record in records if record.kind == "reading"]


def _check(kind: LineOfAKind, records: list[Record]) -> None:
    readings = _readings(records)
    assert len(readings) == SAMPLES
    for i, record in enumerate(readings):
        number = record.value if kind.unit else record.counts
        assert number == pytest.approx(kind.value(i), abs=1e-9)
        assert (record.unit, record.stable) == (kind.unit, kind.stable_at(i))
        assert (record.counts is None) == (kind.unit is not None)


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_kind_of_line_is_read_whole(kind: LineOfAKind) -> None:
    records, _ = _read(kind.stream(), kind.column)
    _check(kind, records)
    assert {record.kind for record in records} <= {"reading", "unknown"}


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_cut_at_any_byte_changes_nothing(kind: LineOfAKind) -> None:
    data = kind.stream(14)
    lines = list(LineSplitter().feed(data))
    for cut in range(len(data)):
        splitter = LineSplitter()
        assert [*splitter.feed(data[:cut]), *splitter.feed(data[cut:])] == lines
    whole = kind.stream()
    records, _ = _read(whole, kind.column)
    for cut in range(0, len(whole), 7):
        assert _read(whole, kind.column, cut)[0] == records
    one_by_one = LineReader(Chosen(column=kind.column))
    fed = [record for i in range(len(whole)) for record in one_by_one.feed(whole[i : i + 1], 0.0)]
    assert fed + one_by_one.finish(0.0) == records


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_banner_before_and_rubbish_behind_are_no_readings(kind: LineOfAKind) -> None:
    records, _ = _read(BANNER + kind.stream() + RUBBISH, kind.column)
    _check(kind, records)
    assert not [record for record in records if record.kind in {"overload", "fault", "reset"}]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_later_banner_is_a_restart_and_four_samples_settle(kind: LineOfAKind) -> None:
    records, _ = _read(kind.stream() + BANNER + kind.stream(), kind.column)
    assert len(_readings(records)) == 2 * SAMPLES - 4
    resets = [record for record in records if record.kind == "reset"]
    assert len(resets) >= 5
    assert sum(record.note == "settling after a restart" for record in resets) == 4


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_a_format_is_stored_and_used_again_and_said_in_words(kind: LineOfAKind) -> None:
    _, reader = _read(kind.stream(), kind.column)
    assert reader.format is not None
    assert ("in counts" in reader.format.described()) == (kind.unit is None)
    again = LineFormat.from_document(reader.format.document())
    assert again == reader.format
    second = LineReader(Chosen(format=again))
    _check(kind, second.feed(kind.stream(), 0.0) + second.finish(0.0))


@pytest.mark.parametrize(("kind", "line"), [(kind, line) for kind, lines in NO_NUMBERS.items() for line in lines])
def test_overloads_and_faults_are_kinds_and_never_numbers(kind: Kind, line: bytes) -> None:
    assert grammar().read(RawLine(line)).kind == kind
    assert grammar().read(RawLine(line)).values == ()
    stream = KINDS[1].stream()
    records, _ = _read(stream + 2 * (line + b"\r\n") + stream)
    assert [record.kind for record in records].count(kind) in (1, 2)  # what may be torn counts from the second on
    assert len(_readings(records)) == 2 * SAMPLES


@pytest.mark.parametrize("line", [b"2024-01-02", b"12:34:56", b"HX711", b"v1.2.3", b"0x1F", b"x-5", b"12kgx"])
def test_dates_names_and_versions_hold_no_number(line: bytes) -> None:
    assert grammar().read(RawLine(line)).values == ()


def test_halves_are_no_readings() -> None:
    stream = KINDS[1].stream()
    reader = LineReader(from_start=False)
    records = reader.feed(stream[2:] + b"12.3", 0.0) + reader.finish(0.0)
    assert len(_readings(records)) == SAMPLES - 1
    assert (records[0].kind, records[-1].kind, records[-1].raw) == ("unknown", "torn", "12.3")


def test_an_endless_line_is_cut_off_and_forgotten() -> None:
    lines = list(LineSplitter().feed(b"9" * 100_000 + b"\n12\n"))
    assert [(len(line.data), line.whole) for line in lines] == [(LONGEST, False), (2, True)]


def test_a_captured_file_without_line_ends_is_read_in_no_time() -> None:
    blocks = [b"1" * 65536] * 150
    assert sum(len(line) for _, line in timed_lines(blocks[0], blocks[1:], "fast")) == 150 * 65536


def test_two_moving_columns_are_asked_about_and_the_answer_is_taken() -> None:
    two = next(kind for kind in KINDS if kind.name == "two-values")
    records, reader = _read(two.stream())
    assert reader.format is None
    assert reader.question is not None
    assert reader.question.columns == (1, 2)
    assert {record.kind for record in records} == {"unknown"}
    reader = LineReader()
    reader.feed(two.stream(), 0.0)
    assert len(_readings(reader.answer(Chosen(column=1)))) == SAMPLES
    records, reader = _read(two.stream(), column=2)
    assert len(_readings(records)) == SAMPLES
    assert reader.question is None


def test_a_column_that_is_not_there_is_said() -> None:
    _, reader = _read(KINDS[0].stream(), column=3)
    assert reader.question is not None
    assert "no column 3" in reader.question.text


def test_a_bare_number_with_a_comma_is_asked_about() -> None:
    lines = "".join(f"{4 + i % 3},{10 + i * 7 % 50}\n" for i in range(SAMPLES)).encode()
    _, reader = _read(lines)
    assert reader.question is not None
    reader = LineReader(Chosen(format=parse_format("decimal-comma kg")))
    assert reader.feed(lines, 0.0)[0].value == pytest.approx(4.10)


def test_a_format_typed_without_a_unit_takes_that_of_the_line() -> None:
    reader = LineReader(Chosen(format=parse_format("value")))
    assert reader.feed(b"4.87 kg\r\n", 0.0)[0].unit == "kg"
    assert reader.format is not None
    assert reader.format.described() == "one number a line, in kg"


def test_full_scale_codes_are_overloads_and_a_single_read_that_ends_in_ones_is_broken() -> None:
    kind = KINDS[0]
    steady = kind.stream()
    records, _ = _read(steady + b"8388607\n-8388608\n-1\n" + steady)
    assert [record.kind for record in records].count("overload") == 2
    assert [record.note for record in records if record.kind == "torn"] == [BROKEN]
    assert len(_readings(records)) == 2 * SAMPLES
    near = (int(kind.value(0)) | 0xFF,)  # ends in ones, but within the noise: stays
    records, _ = _read(steady + f"{near[0]}\n".encode())
    assert BROKEN not in [record.note for record in records]


def test_a_clock_that_falls_back_is_a_restart() -> None:
    clock = next(kind for kind in KINDS if kind.name == "clock-and-value")
    records, _ = _read(clock.stream() + clock.stream())
    assert [record.kind for record in records].count("reset") == 4


def test_a_unit_left_blank_means_moving() -> None:
    sixteen = next(kind for kind in KINDS if kind.name == "sixteen-signs")
    records, _ = _read(sixteen.stream() + b"+   123.56    \r\n")
    assert (records[-1].value, records[-1].unit, records[-1].stable) == (123.56, "g", False)


def test_length_comes_along_where_a_header_names_it() -> None:
    both = next(kind for kind in KINDS if kind.name.startswith("force-and-length"))
    assert _readings(_read(both.stream())[0])[3].length == pytest.approx(1.13)


def test_the_reference_firmware_s_header_names_the_clock_where_the_force_rises_evenly_too() -> None:
    data = b"# ms,counts,status\r\n" + b"".join(b"%d,%d,ok\r\n" % (12.5 * i, 84210 + 400 * i) for i in range(30))
    records, reader = _read(data)
    assert reader.format is not None and reader.format.roles == ("clock", "value")
    assert [record.counts for record in _readings(records)][:2] == [84210, 84610]


def test_a_clock_that_misses_lines_is_not_taken_for_the_force_beside_a_load_at_rest() -> None:
    heard = [i for i in range(80) if i % 4 != 3]  # a third of the steps is twice as long
    records, reader = _read(b"".join(b"%d,12.3\r\n" % (100 * i) for i in heard))
    assert reader.format is None and not _readings(records)
    assert reader.question is not None and reader.question.columns == (1, 2)


def test_a_new_kind_of_line_is_found_after_a_while() -> None:
    records, reader = _read(KINDS[0].stream() + KINDS[16].stream())
    assert reader.format is not None
    assert reader.format.unit == "kg"
    assert _readings(records)[-1].value == pytest.approx(KINDS[16].value(SAMPLES - 1))


@pytest.mark.parametrize("text", ["", "clock", "value,value", "value stone", "value,weight", "clock kg,value"])
def test_a_format_that_cannot_be_read_is_refused(text: str) -> None:
    with pytest.raises(DataError, match="format"):
        parse_format(text)


PIECE = st.one_of(
    st.binary(max_size=60),
    st.sampled_from([kind.stream(12) for kind in KINDS + PLAIN] + [BANNER, RUBBISH]),
    st.text(alphabet="0123456789+-.,eE \t\r\n\x02\x03STGUOLkgN?:", max_size=80).map(str.encode),
)


def no_crash(pieces: list[bytes]) -> None:
    """Whatever comes: records with a number exactly where they are readings."""
    reader = LineReader(from_start=False)
    records = [record for i, piece in enumerate(pieces) for record in reader.feed(piece, float(i))]
    for record in records + reader.finish(99.0):
        has_number = (record.value is None) != (record.counts is None)
        assert has_number == (record.kind == "reading")
        assert (record.unit is None) == (record.value is None)


@settings(max_examples=300, deadline=None)
@given(st.lists(PIECE, max_size=8))
@example([b"\x021,000A\x03"])  # joined, it holds no number
@example([b"A0,1 g\r\n1 g\r\n" * 12])  # the comma stands in a name
def test_no_bytes_crash_the_reader(pieces: list[bytes]) -> None:
    no_crash(pieces)
