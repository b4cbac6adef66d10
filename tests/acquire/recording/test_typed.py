"""Numbers as people type them; conversions after NIST SP 811 (2008), appendix B."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.acquire.files.typed import AmbiguousNumberError, parse_force, parse_length
from calib.errors import DataError


@pytest.mark.parametrize(
    ("text", "unit", "metre"),
    [
        ("163", "cm", 1.63),
        ("16,35", "cm", 0.1635),
        ("64 1/4", "in", 64.25 * 0.0254),
        ("5'4 1/4\"", "in", 64.25 * 0.0254),
        ("4\u2032 7 \u00bc\u2033", "mm", 55.25 * 0.0254),
        ("5ft 4 in", "mm", 64 * 0.0254),
        ("55 1/4in", "mm", 55.25 * 0.0254),
        ('55"', "mm", 55 * 0.0254),
        ("1029mm", "in", 1.029),
        ("1.6m", "in", 1.6),
    ],
)
def test_lengths(text: str, unit: str, metre: float) -> None:
    assert parse_length(text, unit) == pytest.approx(metre, rel=1e-12)


def test_a_pound_pulls_4_4482216152605_newton() -> None:
    assert parse_force("36.1 lb", "kg") == pytest.approx(36.1 * 4.4482216152605, rel=1e-12)


def test_one_comma_three_digits_can_be_read_in_two_ways() -> None:
    with pytest.raises(AmbiguousNumberError) as caught:
        parse_length("1,405", "mm")
    assert caught.value.readings == ("1.405", "1405")
    assert parse_force("0,405", "N") == 0.405


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "nan",
        "inf",
        "1e3",
        "\u0663",
        "\x1b[A",
        "9" * 500,
        "1/0",
        "1.2.3",
        "--1",
        "12 34",
        "5'13\"",
        "1 furlong",
    ],
)
def test_what_is_no_number_is_refused_in_one_sentence(text: str) -> None:
    with pytest.raises(DataError) as caught:
        parse_length(text, "mm")
    assert "\n" not in str(caught.value)
    assert str(caught.value).isascii()
    assert caught.value.remedy


@given(st.text(max_size=60))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    try:
        assert parse_length(text, "mm") > 0
    except DataError as error:
        assert str(error).isprintable()
