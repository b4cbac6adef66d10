"""What is no reading though it looks like one, what is missing, and what is no restart though bytes are torn."""

import random
import time
from collections import Counter
from functools import cache
from itertools import pairwise

import pytest

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen, LineFormat, parse_format, parse_pattern
from calib.acquire.cell.line_grammar import read_text
from calib.acquire.cell.lines import CHECKS, Kind, Record
from calib.acquire.cell.printed_words import unit_of
from calib.errors import DataError
from tests.acquire.cell.pulls import LINES
from tests.acquire.cell.test_streams import PLAIN

BY_NAME = {stream.name: stream for stream in PLAIN}
TORN = 0.01  # of the bytes
STREAMS_TORN = (
    "two letters before",
    "clock",
    "counter and clock",
    "counter, clock and check",
    "frame with a letter",
    "object with a unit",
    "minus in brackets",
    "name with a digit",
)


def _read(lines: list[str], chosen: Chosen | None = None) -> tuple[list[Record], LineReader]:
    reader = LineReader(chosen)
    records = [record for i, line in enumerate(lines) for record in reader.feed(f"{line}\r\n".encode(), 0.1 * i)]
    return records + reader.finish(0.1 * len(lines)), reader


def torn(data: bytes, chance: random.Random) -> bytes:
    """Each byte lost, replaced or with a bit turned, one in a hundred."""
    out = bytearray()
    for byte in data:
        how = chance.choice(("lost", "replaced", "turned")) if chance.random() < TORN else ""
        if how != "lost":
            out.append(chance.randrange(256) if how == "replaced" else byte ^ (1 << chance.randrange(8) if how else 0))
    return bytes(out)


@pytest.mark.parametrize("name", STREAMS_TORN)
def test_torn_bytes_are_missing_data_and_never_a_restart(name: str) -> None:
    """A thousand seconds at ten a second."""
    stream = BY_NAME[name]
    runs_on = any(word in name for word in ("clock", "object"))
    lines = [(stream.line(i if runs_on else i % LINES) + stream.end).encode() for i in range(10_000)]
    reader, chance = LineReader(), random.Random(name)
    records = reader.feed(stream.header.encode() + b"".join(lines[:60]), 0.0)
    rest = torn(b"".join(lines[60:]), chance)
    for k in range(0, len(rest), 64):
        records += reader.feed(rest[k : k + 64], 0.0)
    kinds = Counter(record.kind for record in records)
    assert kinds["reset"] == 0
    assert kinds["overload"] + kinds["fault"] + kinds["status"] == 0
    assert kinds["reading"] > 0.6 * len(lines)
    assert kinds["torn"] > 0.5 * (len(lines) - kinds["reading"])
    if stream.name.endswith("check"):
        sent = {line.decode().partition("*")[0] for line in lines}
        readings = [record for record in records if record.kind == "reading"]
        assert all(record.checked for record in readings)
        assert sum(record.raw not in sent for record in readings) <= 2  # eight bits miss one torn line in 256


STEADY = [f"{12.34 + i * 7 % 5 / 100:.2f} kg" for i in range(20)]


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("LO BAT", "status"),
        ("LOW BATTERY", "status"),
        ("Batt low", "status"),
        ("Calibrating", "status"),
        ("Calibrating...", "status"),
        ("warming up", "status"),
        ("OVER LIMIT", "overload"),
        ("OVERLOAD", "overload"),
        ("over range", "overload"),
        ("limit exceeded", "overload"),
        ("------", "overload"),
        ("-.-- kg", "torn"),
        ("HHHHHH", "overload"),
        ("*** OL ***", "overload"),
        ("OL kg", "overload"),
        ("UNDERLOAD", "overload"),
        ("Err 4", "fault"),
        ("E5", "fault"),
        ("bridge open: no signal", "fault"),
        ("sensor shorted", "fault"),
        ("999999 kg", "torn"),
        ("9999.99 kg", "overload"),
        ("-9999.99 kg", "overload"),
        ("99999.9 kg", "torn"),
        ("1e400 kg", "torn"),
        ("nan kg", "fault"),
        ("inf kg", "overload"),
    ],
)
def test_a_word_instead_of_a_reading_is_a_kind_of_its_own_and_no_restart(line: str, kind: Kind) -> None:
    records, _ = _read([*STEADY, line, *STEADY])
    kinds = Counter(record.kind for record in records)
    assert kinds["reading"] == 2 * len(STEADY)
    assert kinds["reset"] == 0
    assert records[len(STEADY)].kind == kind
    assert records[len(STEADY)].value is None


def test_nines_that_the_load_leads_to_are_a_reading_like_others() -> None:
    lines = [f"{90 + 0.37 * i:.2f} kg" for i in range(27)] + ["99.99 kg", "100.36 kg"]
    records, _ = _read(lines)
    assert [record.value for record in records][-2:] == [99.99, 100.36]


@pytest.mark.parametrize(
    ("before", "then", "kinds"),
    [
        (["4.880"] * 20, ["9.999", "10.412", "10.420"], ["torn", "reading", "reading"]),  # on its way
        (["4.880"] * 20, ["9.999", "9.998", "9.999", "9.999"], ["torn", "reading", "reading", "reading"]),  # held there
        (["4.880"] * 20, ["9.999", "9.999", "9.999", "4.881"], ["torn", "overload", "overload", "reading"]),
        (["0.000"] * 20, ["99.99", "99.99"], ["torn", "torn"]),  # a digit is gone
        (["0.00"] * 20, ["99.99", "99.99", "99.99"], ["overload", "overload", "overload"]),  # wider than any before
        (["0.000", "12.345"] * 10, ["0.000", "9.999", "9.999"], ["reading", "reading", "reading"]),  # it shows more
        (["-4.880"] * 20, ["-9.999", "-9.999", "9.999"], ["torn", "overload", "overload"]),
    ],
)
def test_nines_that_come_in_one_jump_are_an_overload_where_they_stay(
    before: list[str], then: list[str], kinds: list[Kind]
) -> None:
    records, _ = _read([f"{number} kg" for number in (*before, *then)])
    assert [record.kind for record in records][-len(then) :] == kinds


def test_more_than_any_band_pulls_is_no_reading_without_a_scale_s_file_either() -> None:
    records, _ = _read([*STEADY, "11000.50 kg", "11000.62 kg", "11000.60 kg", *STEADY])
    assert [r.kind for r in records][len(STEADY) : len(STEADY) + 3] == ["torn", "overload", "overload"]
    assert {r.note for r in records if r.kind == "overload"} == {"more than any band pulls"}


def test_what_is_beyond_the_scale_s_range_is_an_overload() -> None:
    capacity = 50 * 9.80665
    records, _ = _read([*STEADY, "61.20 kg", "61.90 kg", *STEADY], Chosen(capacity=capacity))
    assert [r.note for r in records if r.kind == "overload"] == ["beyond the scale's range"]
    counts = Chosen(capacity=capacity, per_count=0.01, zero=-840.0)
    records, _ = _read([f"{84000 + i * 7 % 5}" for i in range(20)] + ["184000", "184020", "84001"], counts)
    assert [r.kind for r in records].count("overload") == 1


STATED = [f"ST,NT,+{12.34 + i * 7 % 5 / 100:07.2f}kg" for i in range(20)]


@pytest.mark.parametrize(
    ("usual", "line", "kind"),
    [
        (STATED, "OL,NT,+0012.36kg", "overload"),
        (STEADY, "-.-- kg", "overload"),
        (STEADY, "71.20 kg", "overload"),
        ([f"{text} err=0" for text in STEADY], "12.35 kg err=4", "fault"),
        ([f'{{"kg": {text[:5]}, "overload": false}}' for text in STEADY], '{"kg": null, "overload": true}', "overload"),
    ],
)
def test_an_overload_in_a_line_that_may_be_torn_counts_from_the_second_on(
    usual: list[str], line: str, kind: Kind
) -> None:
    chosen = Chosen(capacity=500.0)
    records, _ = _read([*usual, line, *usual, line, line, line, *usual], chosen)
    kinds = [record.kind for record in records]
    assert kinds.count("reading") == 3 * len(usual)
    assert kinds[len(usual)] == "torn"
    assert kinds[2 * len(usual) + 1 :][:3] == ["torn", kind, kind]


def test_a_board_that_starts_again_is_seen_by_its_words_its_clock_or_what_it_said_at_first() -> None:
    first = ["pull meter, hook 3", *STEADY]
    records, _ = _read([*first, *first])
    assert next(r.note for r in records if r.kind == "reset") == "the board has started again"
    clocked = [f"{50 + 100 * i},{text}" for i, text in enumerate(2 * STEADY)]
    records, _ = _read([*clocked, *clocked])
    assert [r.kind for r in records].count("reset") == 4
    counted = [f"#{i} {text}" for i, text in enumerate(2 * STEADY)]
    records, _ = _read([*counted, *counted])
    assert [r.kind for r in records].count("reset") == 4


def test_a_clock_is_in_seconds_with_its_wraps_taken_out_and_a_number_shows_what_is_missing() -> None:
    lines = [f"{i % 256},{(64_000 + 100 * i) % 65536},{12.34 + i % 3 / 100:.2f} kg" for i in range(300) if i != 270]
    records, reader = _read(lines)
    assert reader.format is not None and reader.format.roles == ("sequence", "clock", "value")
    steps = [b.clock_s - a.clock_s for a, b in pairwise(records) if a.clock_s and b.clock_s]
    assert Counter(round(step, 6) for step in steps) == {0.1: 297, 0.2: 1}
    numbers = [record.sequence for record in records if record.sequence is not None]
    assert numbers[-1] == 299
    assert 270 not in numbers


def test_each_reading_says_how_finely_it_is_printed() -> None:
    printed = {"0.00 kg": 0.01, "0 g": 1.0, "0,000 kN": 0.001, "3.76E+02 N": 1.0, "53 lb 9.5 oz": 0.1 / 16}
    for lines, step in (([line] * 20, step) for line, step in printed.items()):
        records, _ = _read(lines)
        assert all(record.step == pytest.approx(step) for record in records)


@pytest.mark.parametrize("name", [name for name in CHECKS if "+" not in name and name[-1:] != "1"])
def test_each_kind_of_check_is_found_and_a_wrong_one_istorn(name: str) -> None:
    lines = [_with_check(f"P,{12.34 + i * 7 % 3 / 100:.2f},kg", name) for i in range(20)]
    records, reader = _read([*lines, lines[0].replace("12", "72", 1), lines[1]])
    assert reader.format is not None and reader.format.check == name
    assert [r.kind for r in records] == ["reading"] * 20 + ["torn", "reading"]


@cache
def _with_check(text: str, name: str) -> str:
    digits = 4 if name.startswith("crc16") else 2
    check = CHECKS[name]
    for value in range(16**digits):
        line = f"{text}*{value:0{digits}X}"
        if check.split(line.encode())[1]:
            return line
    raise AssertionError(name)


@pytest.mark.parametrize(
    ("name", "value"),
    [("crc8", 0xF4), ("crc8-maxim", 0xA1), ("crc16-ccitt", 0x29B1), ("crc16-xmodem", 0x31C3), ("crc16-modbus", 0x4B37)],
)
def test_a_cyclic_check_of_the_usual_text_is_the_published_one(name: str, value: int) -> None:
    """Check values of the text 123456789 as the catalogue of parametrised CRC algorithms lists them; from memory."""
    digits = 4 if name.startswith("crc16") else 2
    assert CHECKS[name].split(f"123456789*{value:0{digits}X}".encode())[1]


@pytest.mark.parametrize(
    ("pattern", "line", "value", "unit"),
    [
        ("t={clock ms} kg={value kg}", "t=6900  kg=24.31", 24.31, "kg"),
        ("{any}kg={value kg}", "node 7 / raw 302981 / kg=24.31 / ok", 24.31, "kg"),
        ("{number} {number} {value N}", "1 2 -3.5", -3.5, "N"),
        ("{word} {value lb}", "hook 53,5", 53.5, "lb"),
        ("a {value kg} b {plus}", "a 10.5 b 2.25", 12.75, "kg"),
        ("{value}", "123", 123.0, None),
        ("({value kg})", "(24.31) kg", 24.31, "kg"),
    ],
)
def test_a_pattern_reads_what_its_user_wrote_down(pattern: str, line: str, value: float, unit: str | None) -> None:
    form = parse_pattern(pattern)
    assert LineFormat.from_document(form.document()) == form
    records, _ = _read([line, "something else"], Chosen(format=form))
    assert (records[0].kind, records[0].unit) == ("reading", unit)
    assert (records[0].counts if unit is None else records[0].value) == pytest.approx(value)
    assert records[1].kind != "reading"


def test_a_pattern_says_whether_it_stands_and_counts_lines() -> None:
    records, _ = _read(["7 ST 1.5", "8 US 1.7"], Chosen(format=parse_pattern("{sequence} {stands ST} {value kg}")))
    assert [(r.sequence, r.stable, r.step) for r in records] == [(7, True, 0.1), (8, False, 0.1)]


@pytest.mark.parametrize(
    "pattern",
    ["", "kg", "{value stone}", "{value} {value}", "{weight}", "{value", "{value}}", "{clock h} {value}", "x" * 201],
)
def test_a_pattern_that_cannot_be_read_is_refused(pattern: str) -> None:
    with pytest.raises(DataError, match=r"pattern|unit"):
        parse_pattern(pattern)


@pytest.mark.parametrize(
    "pattern",
    ["{any}{any} {any}{any}x{any}{any}y{value}", "{word}{word}{word}{word}{value}", "{any}a{any}a{any}a{value}"],
)
@pytest.mark.parametrize("line", ["a" * 500, "1" * 500, " " * 500, "a " * 250, "1," * 250])
def test_no_line_makes_a_pattern_slow(pattern: str, line: str) -> None:
    reader = LineReader(Chosen(format=parse_pattern(pattern)))
    begun = time.process_time()
    reader.feed(f"{line}\n".encode() * 10, 0.0)
    assert time.process_time() - begun < 0.5


def test_the_sum_of_two_cells_is_a_format() -> None:
    records, _ = _read(["10.5 kg 2.25 kg"], Chosen(format=parse_format("value kg, plus")))
    assert records[0].value == pytest.approx(12.75)


@pytest.mark.parametrize(
    "text", ["24.31 N/mm", "1413 mm", "3.2 Nm", "2.1 mV/V", "21 °C", "12 kPa", "55 %", "3 kg/m", "5 lb-ft"]
)
def test_a_unit_that_is_no_force_never_is_one(text: str) -> None:
    word = text.split(" ", 1)[1]
    meaning = unit_of(word)
    assert meaning is not None and meaning.quantity != "force"
    assert [spot.unit for spot in read_text(text).layout.spots] == [None]


def test_a_cell_that_begins_to_pull_later_is_asked_about() -> None:
    quiet = [f"0 {12 + i % 3}" for i in range(50)]
    later = [f"{i * 7 % 23} {12 + i % 3}" for i in range(50)]
    records, reader = _read(quiet + later)
    assert reader.question is not None
    assert "two cells" in reader.question.text
    assert [r.kind for r in records[:50]] == ["reading"] * 50


def test_a_clock_of_whole_seconds_goes_on_after_a_restart() -> None:
    lines = [f"t={i // 10} kg={12.34 + i % 3 / 100:.2f}" for i in range(300)]
    records, _ = _read(lines + lines)
    assert [r.kind for r in records][-280:] == ["reading"] * 280
    assert [r.kind for r in records].count("reset") == 4


def test_a_clock_that_runs_wild_does_not_silence_the_force() -> None:
    steady = [f"{100 * i},{12.34 + i % 3 / 100:.2f}" for i in range(40)]
    wild = [f"{i * 7919 % 5003},{12.34 + i % 3 / 100:.2f}" for i in range(100)]
    records, _ = _read(steady + wild)
    assert [r.kind for r in records[60:]].count("reading") >= 2


def test_a_unit_that_is_changed_at_the_scale_is_that_of_each_line_also_where_moving_lines_leave_it_out() -> None:
    kilos = [f"{24.3 + i % 3 / 10:8.1f} kg" for i in range(40)]
    pounds = [f"{53.5 + i % 3 / 10:8.1f} {'lb' if i % 4 else '  '}" for i in range(40)]
    records, _ = _read([*kilos, f"{24.4:8.1f}", *pounds[1:]])
    units = [record.unit for record in records if record.kind == "reading"]
    assert units == ["kg"] * 41 + ["lb"] * 39
