"""The small plot keeps to its width, to plain characters, and puts things where they belong."""

from hypothesis import given
from hypothesis import strategies as st

from calib.use.report.terminal_plot import Frame, PlotSeries, plot

VALUES = st.floats(min_value=0.0, max_value=1e5, allow_nan=False)
PLACES = st.lists(st.tuples(st.floats(min_value=0.1, max_value=10), VALUES), min_size=1, max_size=20)


@given(PLACES, st.integers(30, 140), st.integers(6, 30), st.booleans())
def test_it_keeps_to_its_width_and_to_ascii(
    places: list[tuple[float, float]], width: int, height: int, joined: bool
) -> None:
    x, y = zip(*sorted(places), strict=True)
    text = plot([PlotSeries("o", "loading", x, y, joined)], Frame(width, height, "m", "kg"))
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= width


def test_more_pull_is_higher_and_longer_is_further_right() -> None:
    lines = plot([PlotSeries("o", "out", [1.0, 2.0], [1.0, 10.0])], Frame(60, 12, "m", "kg")).splitlines()[1:]
    marks = [(i, line.index("o")) for i, line in enumerate(lines) if "o" in line]
    (high, right), (low, left) = marks
    assert high < low
    assert right > left


def test_two_series_in_one_place_are_marked_as_both() -> None:
    text = plot([PlotSeries("o", "a", [1.0], [1.0]), PlotSeries("x", "b", [1.0], [1.0])], Frame(40, 8, "m", "kg"))
    assert any("|" in line and "#" in line for line in text.splitlines())
