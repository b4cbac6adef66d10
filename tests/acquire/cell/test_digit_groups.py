"""Numbers in groups of three digits are read right or asked about, and never read wrong.

That a comma can part thousands, decimals or columns is common practice on displays; the digits are invented.
"""

import re
from collections.abc import Callable
from math import inf

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen, LineFormat, parse_format
from calib.acquire.cell.lines import Record
from calib.acquire.files.run_checks import LARGEST_FORCE
from calib.units import G_STANDARD

# Around a thousand: a third below it.
AROUND = [round(900.0 + (i * 37 % 23) * 13.1, 1) for i in range(45)]
ABOVE = [value + 1000 for value in AROUND]


def _comma(value: float) -> str:
    return f"{value:,.1f}"


def _apostrophe(value: float) -> str:
    return f"{value:,.1f}".replace(",", "'")


def _blank(value: float) -> str:
    return f"{value:,.1f}".replace(",", " ")


def _blank_and_decimal_comma(value: float) -> str:
    return _blank(value).replace(".", ",")


def _dot_and_decimal_comma(value: float) -> str:
    return f"{value:,.1f}".replace(",", "_").replace(".", ",").replace("_", ".")


WRITTEN: dict[str, Callable[[float], str]] = {
    "comma": _comma,
    "apostrophe": _apostrophe,
    "blank": _blank,
    "blank, decimal comma": _blank_and_decimal_comma,
    "dot, decimal comma": _dot_and_decimal_comma,
}
AROUND_IT = {
    "bare": "{}",
    "unit": "{} kg",
    "label": "Weight: {} g",
    "negative": "-{} kg",
    "bench": "ST,GS,+  {}kg",
    "bench without a sign": "ST,GS,{} kg",
    "framed": "\x02+{} kgG\x03",
}
BEFORE: dict[str, Callable[[int], str]] = {"alone": lambda i: "", "clock before": lambda i: f"{12345 + 100 * i},"}


def _read(lines: list[str], text: str | None = None) -> tuple[list[float], LineReader]:
    chosen = Chosen(format=parse_format(text)) if text else None
    reader = LineReader(chosen)
    records: list[Record] = []
    for i, line in enumerate(lines):
        records += reader.feed((line + "\r\n").encode(), i / 10)
    records += reader.finish(99.0)
    return [r.counts if r.value is None else r.value for r in records if r.kind == "reading"], reader  # type: ignore[misc]


def _sign(around: str) -> float:
    return -1.0 if around.startswith("-") else 1.0


@pytest.mark.parametrize("around", AROUND_IT.values(), ids=AROUND_IT)
@pytest.mark.parametrize("write", WRITTEN.values(), ids=WRITTEN)
def test_values_on_both_sides_of_a_thousand_are_understood(write: Callable[[float], str], around: str) -> None:
    values, reader = _read([around.format(write(value)) for value in AROUND])
    assert values == pytest.approx([_sign(around) * value for value in AROUND]), reader.question
    assert reader.format is not None
    assert "between thousands" in reader.format.described()


@pytest.mark.parametrize("around", AROUND_IT.values(), ids=AROUND_IT)
@pytest.mark.parametrize("write", WRITTEN.values(), ids=WRITTEN)
def test_the_first_value_above_a_thousand_is_understood_by_those_before(
    write: Callable[[float], str], around: str
) -> None:
    if around == "{}" and "decimal" in write.__name__:
        around = "{} kg"  # without a unit `20,5` is asked about before any thousand comes
    below = [value - 880 for value in AROUND if value < 1000] * 3
    values, reader = _read([around.format(write(value)) for value in [*below, *ABOVE]])
    assert values == pytest.approx([_sign(around) * value for value in [*below, *ABOVE]]), reader.question


@pytest.mark.parametrize("around", AROUND_IT.values(), ids=AROUND_IT)
@pytest.mark.parametrize("name", WRITTEN)
def test_values_all_above_a_thousand_are_asked_about_and_the_answer_is_taken(name: str, around: str) -> None:
    lines = [around.format(WRITTEN[name](value)) for value in ABOVE]
    values, reader = _read(lines)
    assert values == []
    assert reader.question is not None
    word = "thousands-" + name.partition(",")[0]
    assert re.search(f"--format '?{word}", reader.question.text)
    answer = f"{word}, decimal-comma" if "decimal" in name else word
    assert _read(lines, answer)[0] == pytest.approx([_sign(around) * value for value in ABOVE])


def test_the_line_that_was_once_read_as_two_columns() -> None:
    values, reader = _read(["1,234.5 kg"] * 45)
    assert values == []
    assert reader.question is not None
    assert "1,234.5 kg" in reader.question.text


def test_a_column_the_user_names_is_a_column() -> None:
    reader = LineReader(Chosen(column=2))
    records = reader.feed("".join(f"1,{value - 900:.1f} kg\r\n" for value in ABOVE).encode(), 0.0)
    assert [r.value for r in records] == pytest.approx([value - 900 for value in ABOVE])


def test_columns_whose_numbers_look_like_groups_are_columns_once_a_line_shows_it() -> None:
    lines = [f"{100 + 90 * i},{123.4 + i * 7 % 5:.1f}" for i in range(45)]  # the clock passes a thousand
    values, _ = _read(lines)
    assert values == pytest.approx([123.4 + i * 7 % 5 for i in range(45)])


def test_a_clock_that_stays_below_a_thousand_is_a_clock() -> None:
    values, _ = _read([f"{100 + 10 * i},{123.4 + i * 7 % 5:.1f}" for i in range(45)])
    assert values == pytest.approx([123.4 + i * 7 % 5 for i in range(45)])


def test_a_header_names_columns() -> None:
    values, _ = _read(["t,force", *(f"{100 + 10 * i},{123.4 + i * 7 % 5:.1f}" for i in range(15))])
    assert values == pytest.approx([123.4 + i * 7 % 5 for i in range(15)])


def test_three_digits_behind_a_decimal_comma_are_decimals_once_a_value_below_one_shows_it() -> None:
    small = [f"{0.4 + (i * 37 % 23) * 0.071:.3f} kg".replace(".", ",") for i in range(45)]
    values, reader = _read(small)
    assert values == pytest.approx([0.4 + (i * 37 % 23) * 0.071 for i in range(45)], abs=5e-4), reader.question
    large = [f"{4.4 + (i * 37 % 23) * 0.071:.3f} kg".replace(".", ",") for i in range(45)]
    values, reader = _read(large)
    assert values == []
    assert reader.question is not None
    assert "decimal-comma" in reader.question.text


def test_the_format_is_stored_and_used_again() -> None:
    lines = [f"{value:,.1f} kg" for value in AROUND]
    _, reader = _read(lines)
    assert reader.format is not None
    again = LineFormat.from_document(reader.format.document())
    assert again == reader.format
    second = LineReader(Chosen(format=again))
    assert second.feed(f"{1234.5:,} kg\r\n".encode(), 0.0)[0].value == 1234.5


_VALUES = st.lists(st.floats(0.1, 99999.0).map(lambda value: round(value, 1)), min_size=12, max_size=80)


@settings(max_examples=300, deadline=None)
@given(_VALUES, st.sampled_from(sorted(WRITTEN)), st.sampled_from(sorted(AROUND_IT)), st.sampled_from(sorted(BEFORE)))
@example([1234.5] * 45, "comma", "bench without a sign", "clock before")
@example([999.5] * 12 + [1234.5] * 60, "dot, decimal comma", "unit", "alone")
def test_no_number_in_groups_is_ever_read_wrong(values: list[float], name: str, around: str, before: str) -> None:
    if before != "alone" and ("decimal" in name or around.startswith(("bench", "framed"))):
        before = "alone"  # nobody sends those behind a clock
    text = AROUND_IT[around]
    lines = [BEFORE[before](i) + text.format(WRITTEN[name](value)) for i, value in enumerate(values)]
    read, _ = _read(lines)
    most = LARGEST_FORCE / G_STANDARD if "kg" in text else inf  # beyond it, no reading
    truth = [round(_sign(text) * value, 1) for value in values if value <= most]
    assert [round(number, 1) for number in read] == truth[len(truth) - len(read) :]
