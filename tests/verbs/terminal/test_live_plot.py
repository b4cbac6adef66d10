"""What is drawn of a pull: against time, against length, below a conversion."""

import pytest

from calib.verbs.terminal.live_plot import SPAN_S, PlotPlace, Strip, beside, by_length
from calib.verbs.terminal.panel import Panel


def test_a_ramp_climbs_from_the_lower_left_to_the_upper_right() -> None:
    strip = Strip()
    for i in range(301):
        strip.add(i / 10, i / 30)
    rows = strip.rows(40, 8)
    assert len(rows) == 8 and max(map(len, rows)) <= 40
    assert rows[0].startswith("10.0 |") and rows[0].rstrip().endswith("'")
    assert rows[5].startswith(" 0.0 |_")
    columns = [min((row.find(sign) for sign in "_-'" if sign in row[6:]), default=99) for row in rows[:6]]
    assert columns == sorted(columns, reverse=True)
    assert "-30 s" in rows[7] and rows[7].endswith("now")


@pytest.mark.parametrize(
    ("low", "high", "places", "labels"),
    [
        (-1.82, -1.80, 1, ["-1.80", "-1.82"]),
        (12.341, 12.344, 1, ["12.344", "12.341"]),
        (84210.0, 84213.0, 0, ["84217", "84206"]),
        (-0.004, 0.003, 1, ["0.003", "-0.004"]),
        (-0.0, 0.0, 1, ["0.001", "-0.001"]),
    ],
)
def test_both_ends_of_the_axis_are_told_apart(low: float, high: float, places: int, labels: list[str]) -> None:
    strip = Strip()
    for i, force in enumerate((low, high, low)):
        strip.add(float(i), force)
    rows = strip.rows(40, 6, places, from_zero=False)
    assert [rows[0].partition("|")[0].strip(), rows[3].partition("|")[0].strip()] == labels


def test_what_is_older_than_half_a_minute_is_forgotten_and_a_silence_is_a_hole() -> None:
    strip = Strip()
    for at in (0.0, 1.0, 100.0, 110.0):
        strip.add(at, 5.0)
    drawn = strip.rows(40, 8)[0]
    assert drawn.count("'") == 2
    assert SPAN_S == 30.0


def test_a_zero_is_taken_off_and_a_sign_turned() -> None:
    strip = Strip()
    strip.add(0.0, 8.0)
    strip.add(1.0, 3.0)
    assert strip.above_zero(8.0, -1.0).rows(30, 6)[0].startswith("5.0 |")


def test_readings_stand_at_their_lengths() -> None:
    marks = [PlotPlace(1150, 3.5, "o"), PlotPlace(1800, 14.0, "o"), PlotPlace(1400, 7.0, "+")]
    rows = by_length(marks, (1150, 1800), 40, 8, "mm")
    at = {row.index("o") for row in rows if "o" in row}
    assert min(at) < max(at) == max(map(len, rows)) - 1
    assert any("+" in row for row in rows[:6])
    assert rows[7].endswith("1800 mm")
    assert beside(["a"], ["b"], 4) == ["a   b"]


def test_a_panel_is_taken_away_before_something_is_said(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "24")
    panel = Panel()
    panel.show(["one", "two", "three"])
    panel.clear()
    assert capsys.readouterr().err == "\rone\x1b[K\ntwo\x1b[K\nthree\x1b[K\x1b[2A\r\r\x1b[J"
    monkeypatch.setenv("TERM", "dumb")
    panel.show(["one", "two"])
    assert "two" not in capsys.readouterr().err
