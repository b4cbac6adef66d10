"""Input that would overflow, underflow or crash the fit: one sentence and exit 1, or a sane profile; no traceback."""

import json
import os
import re
import shutil
import subprocess
import sys
import warnings
from pathlib import Path

import pytest

from calib.verbs.app import run

ROOT = Path(__file__).parents[2]
KNEE = (ROOT / "sample_runs" / "KNEE.run.csv").read_text()
THIN = (ROOT / "sample_runs" / "THIN.run.csv").read_text()
CHECK = """# [scale.correction]
# checked_on = "2026-02-27"
# coefficients = [0.0, 1.0, 0.0]
# covariance = [[0.04, 0.0, 0.0], [0.0, 1e-6, 0.0], [0.0, 0.0, 1e-12]]
# max_N = 400.0
"""
CHECKED = KNEE.replace("# [procedure]", CHECK + "# [procedure]")


def fitted(text: str, folder: Path) -> tuple[int, Path]:
    path = folder / "X.run.csv"
    path.write_text(text)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return run(["fit", str(path), "--out", str(folder)]), folder / "KNEE.profile.json"


@pytest.mark.parametrize(
    ("text", "old", "new", "said"),
    [
        (KNEE, "1120,3.3,", "1120,1e300,", "more than any band pulls"),
        (KNEE, "1120,3.3,", "1120,-1e300,", "more than any band pulls"),
        (KNEE, "u_flat_length_mm = 2.0", "u_flat_length_mm = 1e300", "X.run.csv:6: u_flat_length should be less"),
        (KNEE, "u_reading_mm = 2.0", "u_reading_mm = 1e300", "X.run.csv:16: u_reading should be less"),
        (KNEE, "u_gain = 0.004", "u_gain = 50", "X.run.csv:23: u_gain should be less"),
        (KNEE, "resolution_kgf = 0.05", "resolution_kgf = 1e300", "X.run.csv:22: resolution should be less"),
        (KNEE, "thickness_mm = 4.5", "thickness_mm = 900", "thick"),
        (KNEE, "10 kg plate", "z" * 200_000, "has a line of more than"),
        (THIN, "u_each_g = 30.0", "u_each_g = 1e300", "X.run.csv:32: u_each should be less"),
        (THIN, ",25,366", ",1e300,366", "more than any band pulls"),
        (CHECKED, '2026-02-27"\n# coeff', 'some day"\n# coeff', "checked_on is not a date"),
        (CHECKED, "[0.0, 1.0, 0.0]", "[0.0, 1e-300, 0.0]", "far from 1"),
        (CHECKED, "[0.0, 1.0, 0.0]", "[0.0, 1.0, -0.01]", "far from 1"),
        (CHECKED, "[0.0, 1e-6, 0.0]", "[0.0, 1e300, 0.0]", "a variance of the check"),
        (CHECKED, "[0.0, 1e-6, 0.0]", "[0.0, -1.0, 0.0]", "a variance of the check"),
        (
            CHECKED,
            "max_N = 400.0",
            "factor_known_loads = [0.0, 1e300, 0.0]",
            "a factor of the known loads is too large",
        ),
        (CHECKED, "[[0.04, 0.0, 0.0]", "[[0.04, 1e300, 0.0]", "covariance of the check is impossible"),
        (KNEE, ",3,loading,1120,3.35", ",3,loading,1120,1e5", "more than any band pulls"),
        (CHECKED, "[[0.04, 0.0, 0.0]", "[[0.04, 9.0, 0.0]", "covariance of the check is impossible"),
    ],
)
def test_numbers_nobody_measures_are_refused_in_one_sentence(
    text: str, old: str, new: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in text
    status, profile = fitted(text.replace(old, new, 1), tmp_path)
    sentence = capsys.readouterr().err
    assert status == 1
    assert said in sentence
    assert "X.run.csv" in sentence
    assert sentence.count("\n") == 1
    assert not profile.exists()


def test_a_relaxation_nobody_sees_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head, _, table = KNEE.partition("row,kind")
    rows = ("row,kind" + table).replace("dwell_s,note", "dwell_s,relax_percent_per_decade,note")
    lines = rows.replace("33.4,10,", "33.4,10,1e300,").splitlines(keepends=True)
    kept = [line if "1e300" in line or line.startswith("row,") else "" for line in lines]
    assert fitted(head + "".join(kept), tmp_path)[0] == 1
    assert "relax_percent_per_decade is beyond 100 %" in capsys.readouterr().err


def test_zeros_above_the_readings_give_no_curve_of_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, profile = fitted(KNEE.replace("zero,,,,,0,", "zero,,,,,5,"), tmp_path)
    assert status == 1
    assert "too many pulls are zero or negative" in capsys.readouterr().err
    assert not profile.exists()


def test_row_numbers_as_cycles_are_refused_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    head = KNEE[: KNEE.index("row,kind")] + "cycle,branch,length_mm,force_kgf\n"
    rows = "".join(f"{i},loading,{1120 + i},{3.0 + i / 100:.2f}\n" for i in range(1, 700))
    assert fitted(head + rows, tmp_path)[0] == 1
    assert "699 cycles are more than can be fitted" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (r'"force_N": \[[^],]*', '"force_N": [1e308', "more than any band has"),
        (r'"cycle_gain": [^,]*', '"cycle_gain": 1e300', "repeatability.cycle_gain: should be less than or equal to 1"),
        (r'"force_N": \[', '"force_N": [-', "is below zero: a band only pulls"),
    ],
)
def test_a_profile_that_would_overflow_is_refused(
    old: str, new: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "P.profile.json"
    text = (ROOT / "sample_runs" / "KNEE.profile.json").read_text()
    path.write_text(re.sub(old, new, text, count=1))
    assert run(["predict", str(path), "--length", "1.6m"]) == 1
    assert said in capsys.readouterr().err


def test_what_others_wrote_moves_no_cursor(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fit", "there\x1b[2J\nnot.run.csv"]) == 1
    said = capsys.readouterr().err
    assert "\x1b" not in said
    assert said.count("\n") == 1
    document = json.loads((ROOT / "sample_runs" / "KNEE.profile.json").read_text())
    for line in document["budget"]:
        line["source"] = "tape\x1b[2J"
    path = tmp_path / "P.profile.json"
    path.write_text(json.dumps(document))
    assert run(["show", str(path)]) == 0
    assert "\x1b" not in capsys.readouterr().out


@pytest.mark.parametrize("tail", ["\r\x01", "\r,", "99,gap,,,,,,," + "z" * 99_000])
def test_a_last_line_the_csv_reader_gives_up_on_is_half_a_line(tail: str, tmp_path: Path) -> None:
    assert fitted(KNEE + tail, tmp_path)[0] == 0


def test_a_check_that_can_be_still_counts(tmp_path: Path) -> None:
    assert fitted(CHECKED, tmp_path)[0] == 0


def test_one_reading_next_to_nothing_is_a_gross_error_and_warns_of_no_division(tmp_path: Path) -> None:
    status, profile = fitted(KNEE.replace("1400,9.8,", "1400,1e-300,", 1), tmp_path)
    assert status == 0
    assert "gross-error" in {f["code"] for f in json.loads(profile.read_text())["findings"]}


@pytest.mark.skipif(os.name != "posix", reason="permissions of this kind are POSIX")
@pytest.mark.parametrize("command", [["fit"], ["show"], ["predict", "--length", "1.6m"]])
def test_a_file_that_may_not_be_read_is_one_sentence_and_exit_1(command: list[str], tmp_path: Path) -> None:
    closed = tmp_path / "X.run.csv"
    closed.write_text(KNEE)
    closed.chmod(0)
    tmp_path.chmod(0o755)
    program = (
        f"import os; os.access = lambda *a, **k: False; from calib.verbs.app import run; "
        f"raise SystemExit(run({[command[0], str(closed), *command[1:]]!r}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    )
    assert "Usage" not in done.stderr  # who may read everything reads it; nobody is told of wrong usage
    assert done.returncode in (0, 1)
    assert done.stderr.count("\n") <= 1 or done.returncode == 0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "# fitting_diameters_mm = [12.0, 12.0]\n",
            "",
            "X.run.csv:13: a length taped 'band-inner' needs",
        ),
        ("strands = 2", "strands = true", "strands"),
        ("flat,,,,1033", "flat,,,,103.3", "a flat length of 0.1033 m, where the head says 1.031 m"),
        ('method = "scale-in-line"', 'method = "anchor-on-scale"', "the scale reads more when the band pulls"),
    ],
)
def test_a_head_that_says_too_little_or_contradicts_its_rows_is_refused(
    old: str, new: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in KNEE
    code, _ = fitted(KNEE.replace(old, new), tmp_path)
    error = capsys.readouterr().err
    assert code == 1, error
    assert said in error


def test_a_file_of_another_kind_is_named_with_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    samples = ROOT / "sample_runs"
    assert run(["predict", str(samples / "KNEE.run.csv"), "--length", "1.6m"]) == 1
    assert "is a run, not a JSON document; fit it first: bandcurve fit KNEE.run.csv" in capsys.readouterr().err
    assert run(["fit", str(samples / "KNEE.profile.json"), "--out", str(tmp_path)]) == 1
    assert "a profile is fitted already: bandcurve show KNEE.profile.json" in capsys.readouterr().err
    assert run(["scale", "show", str(samples / "KNEE.profile.json")]) == 1
    assert "it is a profile, and a scale is needed here" in capsys.readouterr().err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.parametrize(
    "command", [["--help"], ["--version"], ["schema", "profile"], ["predict", "KNEE.profile.json", "--length", "1.6m"]]
)
def test_a_full_disk_behind_standard_output_is_one_sentence(command: list[str], tmp_path: Path) -> None:
    """Long output fails while it is written, short output when it is flushed at the end."""
    shutil.copy(ROOT / "sample_runs" / "KNEE.profile.json", tmp_path)
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "calib", *command],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 1
    said = [line for line in done.stderr.splitlines() if "[invented-data]" not in line]
    assert len(said) == 1
    assert "standard output: cannot be used: the disk is full" in said[0]


def test_the_same_readings_given_twice_count_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Joined with itself a run would look twice as sure, and a slip in it would have a witness."""
    (tmp_path / "copy.run.csv").write_text(KNEE)
    (tmp_path / "KNEE.run.csv").write_text(KNEE)
    given = [str(tmp_path / name) for name in ("KNEE.run.csv", "copy.run.csv")]
    assert run(["fit", *given, "--out", str(tmp_path)]) == 1
    heard = capsys.readouterr()
    assert "copy.run.csv: holds the same readings as" in heard.err
    assert "44 readings in 3 cycles" in heard.out


def test_a_run_is_not_imported_as_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its zeros and strikes would be lost without a word."""
    path = tmp_path / "B.run.csv"
    path.write_text(KNEE)
    assert run(["import", str(path), "--id", "B"]) == 1
    assert "is a run already; fit it: bandcurve fit B.run.csv" in capsys.readouterr().err


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_run_saved_again_with_other_separators_is_read(separator: str, tmp_path: Path) -> None:
    """Commas inside the head were taken for separators, so a spreadsheet writes them as its own."""
    text = "".join(
        separator.join(f'"{c}"' if '"' in c else c for c in (c.replace('"', '""') for c in line.split(",")))
        + separator * (8 - line.count(","))
        + "\n"
        for line in KNEE.splitlines()
        if not line.startswith("2,check-load")
    )
    assert fitted(text, tmp_path)[0] == 0


def test_a_finding_that_begins_with_a_file_keeps_its_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "knee.run.csv"
    path.write_text(KNEE)
    assert run(["fit", str(path), "--out", str(tmp_path), "--full"]) == 0
    assert "- knee.run.csv:59: row 20" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--force", "45 stone"], "'stone' is not a unit of force; for example --force 15kg"),
        (["--between", "1.5m", "--kind", "centres", "--fittings", "a"], "'a' is not a number; a bare number is in mm"),
    ],
)
def test_an_option_that_cannot_be_read_says_what_would(
    options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["predict", str(ROOT / "sample_runs" / "KNEE.profile.json"), *options]) == 2
    assert said in capsys.readouterr().err


def test_pounds_are_read_as_people_write_them(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["predict", str(ROOT / "sample_runs" / "KNEE.profile.json"), "--force", "45 lbs"]) == 0
    assert "20.41 kg" in capsys.readouterr().out


@pytest.mark.parametrize(
    "asked",
    [
        ["export", "{knee}", "--out", "{out}"],
        ["sheet", "{knee}", "--out", "{out}.pdf"],
        ["report", "{folder}", "--out", "{out}.html"],
        ["show", "{knee}", "--figure", "{out}.png"],
    ],
)
def test_the_name_of_a_new_file_paints_no_terminal(
    asked: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    knee = tmp_path / "KNEE.profile.json"
    knee.write_bytes((ROOT / "sample_runs" / knee.name).read_bytes())
    named = {"knee": str(knee), "folder": str(tmp_path), "out": str(tmp_path / "a\x1b[31mb")}
    assert run([part.format(**named) for part in asked]) == 0
    told = capsys.readouterr()
    assert "\x1b" not in told.out + told.err
    assert "?[31mb" in told.out + told.err
