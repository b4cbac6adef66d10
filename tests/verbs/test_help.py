"""Help and mistyped words, after the Command Line Interface Guidelines (clig.dev)."""

import os
import re
import shutil
import subprocess
import sys
from importlib import import_module
from pathlib import Path

import pytest

from calib.verbs.app import run
from calib.verbs.overview import COMMANDS, overview
from tests.campaigns import man_page
from tests.verbs.pseudo_terminal import Terminal

ROOT = Path(__file__).parents[2]


def bandcurve(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "calib", *words]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, env=os.environ | env, timeout=60)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        (["hlep"], "help"),
        (["prdict"], "predict"),
        (["rig", "chek"], "check"),
        (["batch", "ft"], "fit"),
        (["scale", "chek"], "check"),
    ],
)
def test_a_mistyped_word_is_answered_with_what_was_probably_meant(
    typed: list[str], meant: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(typed) == 2
    assert f"did you mean '{meant}'?" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [["help", "fit"], ["fit", "-h"], ["fit", "KNEE.run.csv", "-h"], ["fit", "-h", "F", "--out"]]
)
def test_help_of_a_command_is_found_from_everywhere(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) == 0
    assert "Usage: bandcurve fit" in capsys.readouterr().out


def test_help_of_a_word_of_a_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["help", "rig", "solve"]) == 0
    assert "Usage: bandcurve rig solve" in capsys.readouterr().out


def test_a_page_of_many_options_names_the_rest_and_says_each_on_request(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    assert run(["record", "--help"]) == 0
    short = capsys.readouterr().out
    assert run(["record", "B07", "--help-full"]) == 0
    full = capsys.readouterr().out
    assert short.count("\n") <= 40
    assert "One step of its display" in full
    assert "One step of its display" not in short
    assert set(re.findall(r"--[a-z-]+", full)) == set(re.findall(r"--[a-z-]+", short))
    assert all(len(line) <= 80 for line in short.splitlines())
    assert run(["predict", "--help-full"]) == 2


@pytest.mark.parametrize("words", [["rig", "help", "solve"], ["batch", "help", "fit"], ["scale", "help"]])
def test_a_group_has_help_as_a_word_too(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) == 0
    assert f"Usage: bandcurve {words[0]} {' '.join(words[2:])}".strip() in capsys.readouterr().out


@pytest.mark.parametrize("width", [60, 80])
@pytest.mark.parametrize(
    ("words", "module"),
    [
        ("rig solve", "calib.verbs.rig.rig_solve"),
        ("record", "calib.verbs.record"),
        ("pair", "calib.verbs.pair"),
        ("fit", "calib.verbs.fit"),
    ],
)
def test_examples_stay_within_the_terminal_and_can_be_copied(
    words: str, module: str, width: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    written = re.findall(r"^ +(bandcurve .*)$", import_module(module).command.__doc__, re.MULTILINE)
    assert max(map(len, written)) + 4 > 60
    monkeypatch.setenv("COLUMNS", str(width))
    assert run([*words.split(), "--help"]) == 0
    page = capsys.readouterr().out
    assert max(map(len, page.splitlines())) <= width
    unfolded = re.sub(r" \\\n +", " ", page)
    assert [example for example in written if f"    {example}\n" not in unfolded] == []


def test_help_alone_is_the_overview() -> None:
    assert bandcurve("help").stdout == bandcurve("--help").stdout == overview()


@pytest.mark.parametrize("width", [40, 60, 80])
def test_the_overview_stays_within_the_terminal(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    examples = [line for line in overview().splitlines() if line.startswith("    bandcurve ")]
    lines = [line for line in overview().splitlines() if line not in examples and "file:///" not in line]
    assert max(map(len, lines)) <= width
    assert all(name in overview() for name in COMMANDS)


def test_a_reader_that_has_enough_is_no_error() -> None:
    words = f"{sys.executable} -m calib schema profile | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", words], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert (done.returncode, done.stderr) == (0, "")


def test_no_input_asks_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", None)
    assert run(["scale", "new", "hook", "--no-input"]) != 0
    assert not list(tmp_path.iterdir())


def test_no_input_alone_is_the_overview(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--no-input"]) == 0
    assert "Usage: bandcurve" in capsys.readouterr().out


def test_a_recording_that_may_not_ask_says_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", None)
    assert run(["record", "B07", "--no-input"]) == 1
    assert "give the command's options" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["fit", "-"], ["fit", "KNEE.run.csv", "--out", "-"]])
def test_a_dash_is_no_run_and_no_folder(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(ROOT / "sample_runs" / "KNEE.run.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    assert run(words) != 0
    assert "-: " in capsys.readouterr().err
    assert not (tmp_path / "-").exists()


def test_no_color_is_obeyed(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert run(["fit", "-h"]) == 0
    assert "\033[1m" in capsys.readouterr().out
    assert run(["fit", "-h", "--no-color"]) == 0
    assert "\033[" not in capsys.readouterr().out


def test_the_shell_completes_commands_and_options() -> None:
    found = bandcurve(_BANDCURVE_COMPLETE="complete_bash", COMP_WORDS="bandcurve pre", COMP_CWORD="1").stdout
    assert found.split() == ["predict"]
    asked = {"_BANDCURVE_COMPLETE": "complete_bash", "COMP_WORDS": "bandcurve predict --len", "COMP_CWORD": "2"}
    assert bandcurve(**asked).stdout.split() == ["--length"]


def test_ctrl_c_while_modules_are_loaded_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    from calib import __main__
    from calib.verbs import app

    def interrupted(words: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(app, "run", interrupted)
    monkeypatch.setattr(sys, "argv", ["bandcurve", "list"])
    with pytest.raises(SystemExit) as left:
        __main__.main()
    assert left.value.code == 130


def test_help_says_where_the_guide_lies() -> None:
    address = overview().splitlines()[-1].strip()
    assert Path(address.removeprefix("file://"), "measuring.md").is_file()


def test_the_man_page_is_that_of_the_commands_and_renders() -> None:
    assert man_page.PAGE.read_text("utf-8") == man_page.page(), "make it again: python -m tests.campaigns.man_page"
    if shutil.which("groff") is None:
        pytest.skip("groff is not installed")
    render = ["groff", "-man", "-Tascii", "-ww", str(man_page.PAGE)]
    done = subprocess.run(render, capture_output=True, text=True, check=True, timeout=60)
    assert done.stderr == ""
    plain = re.sub(r"\x1b\[[0-9;]*m|.\x08", "", done.stdout)
    assert all(f"bandcurve {name}" in plain for name in COMMANDS)
    assert "--until" in plain


@pytest.mark.terminal
@pytest.mark.parametrize(
    ("pager", "through"), [("sed s/^/PAGED:/", True), ("cat", False), ("no-such-pager", False), ("less '", False)]
)
def test_a_long_page_goes_through_the_pager_and_a_short_one_does_not(
    pager: str, through: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PAGER", pager)
    monkeypatch.setenv("LINES", "24")
    for words, said, long in (
        (["explain", "measuring"], "until.md", True),
        (["explain", "place-assumed"], "atitude", False),
    ):
        terminal = Terminal(words, tmp_path, term="xterm")
        while terminal.read_some(1) or not terminal.ended():
            pass
        assert ("PAGED:" in terminal.all_text) == (through and long)
        assert said in terminal.all_text
