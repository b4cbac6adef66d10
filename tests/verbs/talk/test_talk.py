"""The talk before and after the readings, in one process: what is asked when, and what the head then holds."""

import io
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.records import Run
from calib.use.ask.cautions import CAUTIONS
from calib.verbs.app import run
from calib.verbs.terminal.prompts import ask_line, broken

Record = Callable[..., tuple[int, str, Run | None]]
SCALE = ["50 kg", "0.05", "1"]
TAPE = ["1"]
LENGTHS = "1150 1400 1800"
PULLS = ["4.5", "10.2", "17.4"]
BACK = ["9.4", "4.2"]
DONE = [""]  # warmed up, and the flat length is the same


@pytest.fixture
def record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Record:
    """Record with some lines typed: exit status, what was said, and the run."""
    monkeypatch.chdir(tmp_path)

    def recorded(options: Sequence[str], lines: Sequence[str | bytes]) -> tuple[int, str, Run | None]:
        data = b"".join((line if isinstance(line, bytes) else line.encode()) + b"\n" for line in lines)
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(data)))
        status = run(["record", "B1", "--no-fit", "--cycles", "1", *options])
        file = tmp_path / "B1.run.csv"
        return status, capsys.readouterr().err, read_run(file) if file.exists() else None

    return recorded


def in_line(upright: Sequence[str] = ()) -> list[str]:
    """Answers for a scale in line up to the summary: the way, the scale, the band, the tape, then changes of lines."""
    return ["2" if upright else "1", *SCALE, "1000 mm", *TAPE, *(upright or ["l", LENGTHS]), ""]


HUNG = ["3", "", "2.5 5 10 kg", "0.2", "1000 mm", *TAPE]
FLOOR = ["4", "150 kg", "0.1", "1000 mm", *TAPE, "l", LENGTHS, "r", "10", ""]


def test_the_head_is_on_disk_before_anybody_pulls(record: Record) -> None:
    status, said, found = record([], in_line())
    assert status == 1
    assert "Warm the band up" in said
    assert found is not None
    assert found.rows == ()
    assert found.head.procedure.conditioning_pulls is None
    status, said, found = record(["--resume", "B1.run.csv"], DONE)
    assert "5 slow pulls to 1820 mm, watching the scale. Stop at 40 kg." in " ".join(said.split())
    assert "How will you measure?" not in said
    assert found is not None
    assert found.head.procedure.conditioning_pulls == 5


def test_before_the_first_pull_there_is_a_load_to_stop_at_and_a_short_pull(record: Record) -> None:
    """80 % of the scale; and of the first, short pull, what would lead there: nobody knows the band yet."""
    _, said, _ = record([], [*in_line(), *DONE])
    words = " ".join(said.split())
    assert "Stop at 40 kg." in words
    # by hand: stretch 1.838 at 1820 mm and 1.292 at 1275 mm; (s - 1/s2)(1 + 0.5/s) is 1.961 and 0.960; 40 kg x 0.49
    assert "Take the first pull only to 1275 mm: if it shows more than 19 kg there, type back" in words


@pytest.mark.parametrize(
    ("changes", "weight", "mass"),
    [
        ([], [], None),
        (["p", "2"], ["310"], 0.31),
        (["o", "2", "p", "3"], ["0,31 kg"], 0.31),
        (["p", "3"], [""], None),
    ],
)
def test_the_bands_mass_is_asked_where_its_weight_counts(
    changes: list[str], weight: list[str], mass: float | None, record: Record
) -> None:
    """Zeroed with both ends hooked, the weight is not part of the reading."""
    lines = ["2", *SCALE, "1000 mm", *TAPE]
    if changes:
        lines += [*changes[:-1], changes[-1], *weight]
    _, said, found = record([], [*lines, "", *DONE])
    assert ("The band's own mass" in said) == bool(weight)
    assert found is not None
    assert found.head.band.mass == mass
    assert found.head.procedure.conditioning_pulls == 5  # all lines were answers to what they were meant for


@pytest.mark.parametrize(("typed", "latitude"), [("52", 52.0), ("34 S", -34.0), ("", None)])
def test_latitude_is_an_option_and_not_asked(typed: str, latitude: float | None, record: Record) -> None:
    options = ["--latitude", typed] if typed else []
    _, said, found = record(options, [*HUNG, "310 g", "", *DONE])
    assert "Latitude" not in said
    assert found is not None
    assert found.head.band.mass == 0.31
    assert found.head.procedure.latitude_deg == latitude
    assert found.head.loads is not None
    assert found.head.loads.hook_mass == 0.2


def test_named_plates_are_kept_in_a_file_and_each_row_says_which_hung(record: Record, tmp_path: Path) -> None:
    lines = [
        "3",
        "2 x 5=5.02 kg",
        "1 x 2.5, 5=5.02, 5 kg",
        "3 7.5 10",
        "2.5 7.5 10",
        "0.2",
        "1000 mm",
        *TAPE,
        "310",
        "",
        "",
    ]
    _, said, found = record([], [*lines, "1080", "1180", "1250"])
    assert "plates are weighed one by one" in " ".join(said.split())
    assert "these plates do not make 3 kg; they make 2.5 kg and 5 kg" in " ".join(said.split()).lower()
    assert "hang 7.5 kg (5a + 2.5a)" in said
    assert found is not None
    assert found.head.loads is not None
    assert found.head.loads.pieces == ("2.5a", "5a", "5b")
    kept = next(tmp_path.glob("plates-*.plates.json"))
    assert kept.name == f"{found.head.loads.id}.plates.json"
    assert [(row.pieces, row.mass) for row in found.readings][:2] == [(("2.5a",), 2.5), (("5a", "2.5a"), 7.52)]


def test_the_closing_zero_needs_a_number_and_is_not_zeroed_away(record: Record) -> None:
    status, said, found = record([], [*in_line(), *DONE, "", *PULLS, *BACK, "", "0.15", "1001"])
    assert status == 0, said
    assert "Do not zero the scale" in said
    assert "even if it is 0" in said
    assert found is not None
    assert [round((r.force or 0.0) / 9.80665, 2) for r in found.rows if r.kind == "zero"] == [0.0, 0.15]


def test_a_form_is_typed_in_without_cautions_pulls_or_clock(record: Record) -> None:
    lines = ["1", *SCALE, "1000 mm", *TAPE, "", "", "", "", "3", "2026-03-01", "l", LENGTHS, "", "0.05"]
    status, said, found = record(["--from-form"], [*lines, *PULLS, "skip", "4.2", "skip", "1001"])
    assert status == 0, said
    for words in (CAUTIONS[0], "Warm the band up", "Hold 10 s", " set 1150", "bell"):
        assert words not in said
    assert "at 1150 mm" in said
    assert "From the form: cycle 1, back, up the next column." in said
    assert found is not None
    assert found.head.started is not None
    assert found.head.started.date() == date(2026, 3, 1)
    assert found.head.procedure.conditioning_pulls == 3
    assert {row.at_s for row in found.rows} == {None}
    assert [row.kind for row in found.rows] == ["zero", *["reading"] * 3, "skipped", "reading", "skipped", "flat"]


def test_a_scales_file_answers_for_its_unit(record: Record, tmp_path: Path) -> None:
    assert run(["scale", "new", "hook", "--resolution", "0.1lb", "--capacity", "110lb"]) == 0
    options = ["--scale", "hook.scale.json", "--method", "scale-in-line", "--lengths", "1150mm 1400mm 1800mm"]
    _, said, found = record(options, ["1000 mm", *TAPE, "", *DONE])
    assert "It shows, lb" in said
    assert found is not None
    assert found.head.scale is not None
    assert found.head.scale.id == "hook"


def test_step_and_maximum_that_do_not_go_together_are_said_and_back_changes_either(record: Record) -> None:
    _, said, found = record([], ["1", "50 kg", "60", "back", "100 kg", "0.05", "1", *in_line()[4:], *DONE])
    assert "were they swapped" in " ".join(said.split())
    assert found is not None
    assert found.head.scale is not None
    assert found.head.scale.resolution == pytest.approx(0.05 * 9.80665)
    assert found.head.scale.id == "scale-100kg"


@pytest.mark.parametrize(
    ("at", "wrong", "words"),
    [
        (1, "50", "type 50 kg or 50 lb"),
        (1, "50 cm", "'50 cm' is a length, and a load is asked for; type for example 16.35 or 36.1 lb"),
        (2, "5mm", "'5mm' is a length, and a load is asked for"),
        (4, "104kg", "'104kg' is a weight, and a length is asked for"),
        (4, "40.5", "type 40.5 cm or 40.5 in"),
        (4, "102.9 mm", "Typed in cm?"),
        (4, "9000 mm", "A loop band is 15 cm to 3 m"),
        (6, "k", None),
        (7, "115 140 180", "another unit?"),
        (7, "1150 1400 11800", "than a band should have to bear"),
    ],
)
def test_a_length_or_force_in_the_wrong_unit_is_named_and_asked_again(
    at: int, wrong: str, words: str | None, record: Record
) -> None:
    answers = in_line()
    again = {"k": ["1.2", "12"], "115 140 180": ["l"], "1150 1400 11800": ["l"]}.get(wrong, [])
    _, said, found = record([], [*answers[:at], wrong, *again, *answers[at:], *DONE])
    assert (words or "") in " ".join(said.split())
    assert found is not None
    assert found.head.band.flat_length == 1.0
    assert [round(1000 * x) for x in found.head.extensions["settings"]] == [1150, 1400, 1800]


@pytest.mark.parametrize(
    ("typed", "words"),
    [(["m", "3 0.45", "30 4.5"], "Typed in cm?"), (["s", "70", "21"], "or 68 F"), (["r", "500", "10"], "(50 kg)")],
)
def test_a_line_of_the_summary_is_changed_by_its_letter(typed: list[str], words: str, record: Record) -> None:
    answers = in_line()
    _, said, found = record([], [*answers[:-1], *typed, "", *DONE])
    assert words in " ".join(said.split())
    assert found is not None
    assert found.head.procedure.conditioning_pulls == 5


def test_a_flat_length_few_bands_have_needs_its_unit(record: Record) -> None:
    answers = in_line()
    _, said, found = record(["--holes", "50mm"], [*answers[:4], "5000", *answers[4:5], "4", "12", "", *DONE])
    assert "5000 has no unit" in said
    assert found is not None
    assert found.head.band.flat_length == 1.0


RUBBISH: tuple[bytes, ...] = (
    b"\xff\xfe\x00",
    b"9" * 100_000,
    "\u0663\u0664\u0665".encode(),
    b"\x1b[2J\x07",
    b"1,2,3,,",
    b"1e5",
    b"12..5",
    b"--",
    b"nan",
)
WAYS = {
    "scale in line": (
        ["2", *SCALE, "1000 mm", *TAPE, "p", "3", "310", "l", LENGTHS, ""],
        ["0", *PULLS, *BACK, "0.05", "1001"],
    ),
    "rack holes": (
        ["1", *SCALE, "1000 mm", "4", "50", "4", "25 25", "l", "26 30 38", "m", "30 4.5", "r", "10", ""],
        ["0", "10", "5.0", "9.8", "16.4", "9.0", "4.6", "0.05", "10.05", "1001"],
    ),
    "hung plates": ([*HUNG, "310", ""], ["1080", "1180", "1400", "1190", "1085", "1001"]),
    "anchor": (FLOOR, ["80", "90", "75.5", "69.8", "62.6", "70.2", "75.7", "80", "90", "1001"]),
}


@pytest.mark.parametrize("way", WAYS)
def test_every_question_of_every_way_takes_rubbish(way: str, record: Record) -> None:
    """Three kinds of rubbish before each right answer; the file is as if nothing but the answers had been typed."""
    setup, values = WAYS[way]
    lines: list[str | bytes] = []
    for i, line in enumerate([*setup, *DONE, *values]):
        lines += [RUBBISH[(3 * i + k) % len(RUBBISH)] for k in range(3)]
        lines.append(line)
    status, said, found = record([], lines)
    assert status == 0, said[-1500:]
    assert "\x1b" not in said
    assert max(map(len, said.splitlines())) <= 130
    assert found is not None
    measured = [row for row in found.rows if row.kind in ("reading", "zero", "check-load", "flat")]
    assert len(measured) == len(values), said[-1500:]
    assert not any(row.note for row in measured if row.kind == "reading")


def test_talk_is_broken_at_the_width_of_the_terminal(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    _, said, _ = record([], [*in_line(), *DONE, "0", *PULLS, "79", *BACK])
    prompts = said.splitlines()
    assert max(len(line) for line in prompts if "bandcurve record" not in line) <= 50
    assert "  bandcurve record --resume B1.run.csv" in prompts
    assert broken("  bandcurve record --resume " + "'a folder' " * 9).count("\n") == 0  # a command is copied whole


def test_a_question_of_several_lines_keeps_them(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each line is broken for itself: a short list of answers does not run together."""
    monkeypatch.setenv("COLUMNS", "50")
    monkeypatch.setattr("sys.stdin", io.StringIO("two\n"))
    asked = "Which of these was it, if you remember it at all?\n  one  the first\n  two  the second\nIt was: "
    assert ask_line(asked) == "two\n"
    lines = capsys.readouterr().err.splitlines()
    assert lines[-3:] == ["  one  the first", "  two  the second", "It was: "]


def test_a_scale_and_a_tape_are_named_as_their_owner_names_them(record: Record) -> None:
    """The plate of a scale says d = 50 g; people say lbs and inches."""
    gear = ["1", "50 kilos", "50 g", "1", "40 1/2 inches", "1", "k", "1/2", "l", "45 55 70", ""]
    _, said, found = record([], gear)
    assert "type one of" not in said.lower()
    assert found is not None
    assert found.head.scale is not None
    assert found.head.scale.resolution == pytest.approx(0.05 * 9.80665)
    assert found.length_unit == "in"


def test_between_cycles_the_band_is_hooked_anew(record: Record) -> None:
    """docs/measuring.md, 7: only that shows how much one pull differs from another; nobody does it unasked."""
    _, said, _ = record(["--cycles", "2"], [*in_line(), "", "", *PULLS, *BACK, *PULLS])
    assert "Cycle 1: out, coming to each length" in said
    assert "Cycle 2: unhook the band, hook it on again; then out, coming to each" in " ".join(said.split())
