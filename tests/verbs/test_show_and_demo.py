"""`show` and `demo` as a user meets them: words, figures, JSON, and refusals of one sentence."""

import errno
import json
import re
from pathlib import Path

import pytest

from calib.profile.document import load_profile
from calib.units import kilos
from calib.verbs.app import run
from calib.verbs.demo import sample_folder
from calib.verbs.terminal.plain_text import clean, findings_text, table, wrap

SAMPLES = Path(__file__).parents[2] / "sample_runs"
PROFILE = SAMPLES / "KNEE.profile.json"


def test_a_profile_is_shown_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", str(PROFILE), "--full"]) == 0
    said = capsys.readouterr().out
    profile = load_profile(PROFILE)
    assert f"{profile.force(1.6 + (profile.half_path_less_tape or 0)) / 9.80665:.2f}" in said
    for words in ("+-mean", "+-next", "stretch", "gross-error", "scale gain", "invented", "tape, m"):
        assert words in said
    assert said.isascii()
    assert max(map(len, said.splitlines())) <= 100


def test_the_next_set_is_wider_than_the_mean(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["show", str(PROFILE), "--json"]) == 0
    for row in json.loads(capsys.readouterr().out)["table"]:
        assert row["loading"]["u95_next_set_N"] > row["loading"]["u95_mean_N"]


def test_a_run_is_shown_with_struck_rows_marked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "KNEE.run.csv"
    path.write_bytes((SAMPLES / "KNEE.run.csv").read_bytes() + b'51,strike,20,,,,,,,"decimal point slipped"\n')
    assert run(["show", str(path), "--full"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"^ *20 +reading .*STRUCK: decimal point slipped$", said, flags=re.MULTILINE)
    assert "No warnings" in said


def test_a_run_too_short_to_fit_is_still_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = (SAMPLES / "KNEE.run.csv").read_text("utf-8").splitlines(keepends=True)
    start = next(i for i, line in enumerate(lines) if line.startswith("row,"))
    path = tmp_path / "short.run.csv"
    path.write_text("".join(lines[: start + 5]), "utf-8")
    assert run(["show", str(path)]) == 0
    assert "cannot be fitted yet" in capsys.readouterr().out.replace("\n", " ")


@pytest.mark.parametrize("kind", ["png", "svg", "pdf"])
def test_a_figure_is_written_once_and_never_over_another(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    figure = tmp_path / f"KNEE.{kind}"
    assert run(["show", str(PROFILE), "--figure", str(figure)]) == 0
    assert "shows only the curve" not in capsys.readouterr().err
    before = figure.read_bytes()
    assert run(["show", str(PROFILE), "--figure", str(figure)]) == 1
    assert "not overwritten" in capsys.readouterr().err
    assert figure.read_bytes() == before


def test_a_profile_without_its_run_is_drawn_alone_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    alone = tmp_path / "deep" / "er"
    alone.mkdir(parents=True)
    (alone / "K.profile.json").write_bytes(PROFILE.read_bytes())
    assert run(["show", str(alone / "K.profile.json"), "--figure", "k.svg"]) == 0
    assert "shows only the curve" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (["show", "nowhere.profile.json"], 1, "nowhere.profile.json"),
        (["show", "nowhere.run.csv"], 1, "nowhere.run.csv"),
        (["show", str(SAMPLES)], 1, "folder"),
        (["show", str(PROFILE), "--figure", "k.bmp"], 2, ".png"),
    ],
)
def test_refusals_are_one_sentence(
    arguments: list[str], status: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(arguments) == status
    printed = capsys.readouterr()
    assert printed.out == ""
    assert words in printed.err
    assert len(printed.err.splitlines()) == 1


def test_the_demo_makes_a_profile_and_a_figure_of_each_band(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "look"
    assert run(["demo", str(folder)]) == 0
    said = capsys.readouterr().out
    for band in ("KNEE", "LONG", "THIN"):
        assert load_profile(folder / f"{band}.profile.json").band.id == band
        assert (folder / f"{band}.png").read_bytes().startswith(b"\x89PNG")
        assert (folder / f"{band}.run.csv").read_bytes() == (SAMPLES / f"{band}.run.csv").read_bytes()
    for words in ("invented", "gross-error", "bandcurve predict"):
        assert words in said
    assert len(said.splitlines()) <= 24
    next_steps = said[said.index("Runs, profiles") :].replace(str(folder), "bandcurve-demo")
    assert max(map(len, next_steps.splitlines())) <= 80  # none breaks within a command to be copied
    assert run(["demo", str(folder)]) == 1
    assert "not empty" in capsys.readouterr().err


def test_a_demo_on_a_full_disk_leaves_no_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    assert run(["demo", str(tmp_path / "new" / "demo")]) == 1
    assert "the disk is full" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_demo_in_the_folder_of_real_bands_is_in_no_answer_about_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["demo"]) == 0
    assert (said := capsys.readouterr().out).count("\n") < 20
    assert str(tmp_path / "bandcurve-demo") in said.replace("\n", "")
    real = tmp_path / "B07.profile.json"
    real.write_bytes(PROFILE.read_bytes().replace(b'"KNEE"', b'"B07"'))
    assert run(["list", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [band["band"] for band in listed["bands"]] == ["B07"]
    assert listed["left_out"] == ["bandcurve-demo"]
    assert run(["report", "--out", "all.html"]) == 0
    page = Path("all.html").read_text("utf-8")
    assert "B07" in page
    assert "THIN" not in page
    capsys.readouterr()
    assert run(["predict", "THIN", "--length", "1.6m"]) == 1
    assert "name its file: bandcurve-demo" in capsys.readouterr().err
    assert run(["predict", "bandcurve-demo/THIN.profile.json", "--length", "1.6m", "--json"]) == 0
    assert "invented-data" in [f["code"] for f in json.loads(capsys.readouterr().out)["findings"]]


def test_a_demo_is_not_put_where_somebody_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["demo", "."]) == 2
    assert "where you are" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_the_sample_runs_are_found_in_a_source_tree() -> None:
    assert (sample_folder() / "KNEE.run.csv").is_file()


def test_other_peoples_text_is_made_harmless() -> None:
    assert clean("a\x1b[2Jb\x9bc\u202ed\te\x00") == "a[2Jbcd e"
    assert clean("x" * 100, 10) == "xxxxxxx..."


def test_tables_line_up_and_words_wrap() -> None:
    lines = table(("kg", "what"), (("1.5", "a"), ("10.25", "b"))).splitlines()
    assert lines == ["   kg  what", "  1.5  a", "10.25  b"]
    assert all(len(line) <= 40 for line in wrap("word " * 50, 40, "- ", "  ").splitlines())


def test_kilos_have_no_minus_zero() -> None:
    assert kilos(-0.001) == "0.00 kg"
    assert kilos(-9.80665) == "-1.00 kg"


def test_nothing_doubtful_is_said_too() -> None:
    assert findings_text(()) == "No warnings."
