"""Through a real pseudo-terminal: simulated users, interruptions, a killed process, a pipe, a disk that is full.

A share of the campaign of `python -m tests.campaigns.recording`, which drives 200 recordings and 200 kills.
"""

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from calib.acquire.files.run_file import read_run
from calib.verbs.app import run
from tests.campaigns.recording.simulated_user import NAMES, PROMPTS, Interruption, User
from tests.verbs.pseudo_terminal import ROOT, Terminal

pytestmark = [
    pytest.mark.terminal,
    pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal"),
]
MIXES: Sequence[Sequence[Interruption]] = ((), ("ctrl-c",), ("end-of-input", "hang-up"))
QUICK = "\n150 kg\n0.05\n1000 mm\n\nl\n1150 1400 1800\n\n0\n"
PULLS = "4.5\n10.2\n17.4\n"


@pytest.mark.parametrize("seed", range(9))
def test_every_accepted_reading_is_in_the_file_once_and_in_order(seed: int, tmp_path: Path) -> None:
    User(seed, tmp_path, MIXES[seed % len(MIXES)]).record()


@pytest.mark.parametrize("seed", range(20_000, 20_004))
def test_killed_at_a_random_moment_nothing_accepted_is_lost(seed: int, tmp_path: Path) -> None:
    User(seed, tmp_path, ("kill", "kill")).record()


def piped(text: str | bytes, folder: Path, *arguments: str) -> subprocess.CompletedProcess[bytes]:
    data = text.encode() if isinstance(text, str) else text
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "calib", "record", *arguments]
    return subprocess.run(
        command, input=data, capture_output=True, cwd=folder, env=environment, timeout=60, check=False
    )


def test_quick_through_a_pipe_ends_in_kilos(tmp_path: Path) -> None:
    done = piped(QUICK + 2 * PULLS, tmp_path, "B07", "--quick")
    assert done.returncode == 0, done.stderr
    table = done.stdout.decode()
    assert re.search(r"1400 mm +55\.1 +1\.42 +10\.[12]", table), table
    assert len(table.splitlines()) <= 12
    assert "10.2 kg" in table.splitlines()[-1]
    assert (tmp_path / "B07.profile.json").exists()


def test_the_end_of_a_pipe_keeps_what_was_typed_and_says_how_to_go_on(tmp_path: Path) -> None:
    done = piped(QUICK + "4.5\n10.2\n", tmp_path, "B07", "--quick")
    assert done.returncode == 1
    assert b"bandcurve record --resume B07.run.csv" in done.stderr
    assert len(read_run(tmp_path / "B07.run.csv").readings) == 2
    done = piped("17.4\n" + PULLS, tmp_path, "--resume", "B07.run.csv")
    assert done.returncode == 0, done.stderr
    assert b"2 of 6 readings done. Continuing at reading 3." in done.stderr
    assert len(read_run(tmp_path / "B07.run.csv").readings) == 6


def test_an_empty_pipe_ends_at_once(tmp_path: Path) -> None:
    done = piped("", tmp_path, "B07")
    assert done.returncode == 1
    assert b"nothing was recorded" in done.stderr
    assert not list(tmp_path.iterdir())


def test_every_question_takes_rubbish(tmp_path: Path) -> None:
    """Before each right answer: bytes that are no text, a line of a million signs, other digits, control characters."""
    rubbish = [b"\xff\xfe\x00", b"9" * 1_000_000, "\u0663\u0664".encode(), b"\x1b[2J\x07", b"-0,0,0"]
    lines = (QUICK + 2 * PULLS).encode().split(b"\n")[:-1]
    takes_anything = {8}  # a zero far from 0 is asked about, and -0,0,0 is none
    data = b""
    for i, line in enumerate(lines):
        data += b"" if i in takes_anything else rubbish[i % len(rubbish)] + b"\n"
        data += line + b"\n"
    done = piped(data, tmp_path, "B07", "--quick")
    assert done.returncode == 0, done.stderr.decode()[-1500:]
    assert b"Traceback" not in done.stderr
    assert b"\x1b" not in done.stderr
    assert max(map(len, done.stderr.split(b"\n"))) < 400
    assert len(read_run(tmp_path / "B07.run.csv").readings) == 6


@pytest.mark.parametrize("waits", [["--no-countdown"], ["--move-time", "0.02", "--dwell", "0.03"]])
def test_one_enter_beside_the_digits_for_each_reading(waits: list[str], tmp_path: Path) -> None:
    """Eight lengths, two cycles: thirty readings, thirty lines; the countdown needs no key."""
    terminal = Terminal(["record", "B1", "--no-fit", "--method", "scale-in-line", *waits], tmp_path)
    user = User(3, tmp_path)
    user.way, user.unit, user.locks, lines = 1, "kg", 1, 0
    try:
        while (found := terminal.until(PROMPTS)) is not None:
            name = NAMES[found]
            if name in ("zero", "reading", "check-load", "flat-end"):
                user.see(terminal)
                terminal.send(user.value(name)[0])
                lines += name == "reading"
            else:
                user.to_change = []  # the lengths proposed
                terminal.send(user.setup_answer(name, terminal.text))
        assert terminal.wait() == 0
    finally:
        terminal.close()
    assert lines == 30
    assert len(read_run(tmp_path / "B1.run.csv").readings) == 30


def test_ctrl_c_in_the_set_up_keeps_the_answers_and_the_next_start_goes_on(tmp_path: Path) -> None:
    asked = [re.compile(r": $")]
    terminal = Terminal(["record", "B1", "--quick"], tmp_path)
    try:
        for line in ("1", "50 kg", "0.05"):
            terminal.until(asked)
            terminal.send(line)
        terminal.until(asked)
        terminal.interrupt()
        assert terminal.wait() == 130
        assert "Your answers are kept" in terminal.all_text
    finally:
        terminal.close()
    assert not list(tmp_path.glob("*.run.csv"))
    terminal = Terminal(["record", "B1", "--quick"], tmp_path)
    try:
        assert terminal.until([re.compile(r"Flat length of the band.*: $")]) == 0
        assert "Continuing with your earlier answers" in terminal.all_text
        assert "Maximum printed" not in terminal.all_text
    finally:
        terminal.close()


def test_the_countdown_rings_and_is_cut_short_by_a_digit(tmp_path: Path) -> None:
    options = ["--quick", "--no-fit", "--move-time", "0.4", "--dwell", "0.4"]
    terminal = Terminal(["record", "B1", *options], tmp_path)
    reading = re.compile(r"  shows, kg: $")
    try:
        for line in QUICK.split("\n")[:-1]:
            terminal.until(PROMPTS)
            terminal.send(line)
        start = time.monotonic()
        assert terminal.until([reading]) == 0
        assert time.monotonic() - start > 0.5
        terminal.send("4.5")
        while "move to it" not in terminal.text:
            terminal.read_some(1)
        terminal.send("10.2")
        for number, value in ((3, "17.4"), (4, "4.5"), (5, "10.2"), (6, "17.4")):
            assert terminal.until([re.compile(rf"\[{number}/6\]")]) == 0
            assert terminal.until([reading]) == 0
            terminal.send(value)
        assert terminal.wait() == 0
    finally:
        terminal.close()
    rows = read_run(tmp_path / "B1.run.csv").readings
    assert [row.dwell_s for row in rows] == [0.4, 0.0, 0.4, 0.4, 0.4, 0.4]
    assert "\r  hold still" in terminal.all_text


def test_a_full_disk_is_said_and_another_folder_taken(tmp_path: Path) -> None:
    other = tmp_path / "other"
    script = (
        "import errno, os, sys\n"
        "real, lines = os.write, [0]\n"
        "def full(fd, data):\n"
        "    if b',reading,' in bytes(data):\n"
        "        lines[0] += 1\n"
        "        if lines[0] == 2: raise OSError(errno.ENOSPC, 'No space left on device')\n"
        "    return real(fd, data)\n"
        "os.write = full\n"
        "from calib.verbs.app import run\n"
        "sys.exit(run(sys.argv[1:]))"
    )
    text = QUICK + f"4.5\n10.2\n17.4\n{other}\ny\n17.4\n{PULLS}"  # a number is not taken for a folder
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", script, "record", "B07", "--quick", "--no-fit"]
    done = subprocess.run(
        command, input=text.encode(), capture_output=True, cwd=tmp_path, env=environment, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert b"Not on disk" in done.stderr
    assert len(read_run(other / "B07.run.csv").readings) == 6
    assert len(read_run(tmp_path / "B07.run.csv").readings) == 1


def test_a_folder_that_is_gone_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    terminal = Terminal(["record", "B1", "--quick", "--no-fit", "--no-countdown", "--out", "day"], tmp_path)
    reading = re.compile(r"  shows, kg: $")
    try:
        for line in QUICK.split("\n")[:-1]:
            terminal.until(PROMPTS)
            terminal.send(line)
        assert terminal.until([reading]) == 0
        shutil.rmtree(tmp_path / "day")
        terminal.send("4.5")
        assert terminal.until([re.compile(r"try the old one again\): $")]) == 0
        assert "moved or deleted" in terminal.text
        assert "Nothing is lost" in terminal.text
        terminal.send("kept")
        assert terminal.until([re.compile(r"Create it\? \[y/N\]: $")]) == 0
        terminal.send("y")
        for value in ("10.2", "17.4", "4.5", "10.2", "17.4"):
            assert terminal.until([reading]) == 0
            terminal.send(value)
        assert terminal.wait() == 0
    finally:
        terminal.close()
    rows = read_run(tmp_path / "kept" / "B1.run.csv").readings
    assert [round((r.force or 0.0) / 9.80665, 3) for r in rows] == 2 * [4.5, 10.2, 17.4]


def test_an_error_is_broken_at_the_width_of_the_terminal_and_one_line_in_a_pipe(tmp_path: Path) -> None:
    arguments = ["scale", "new", "hook", "--resolution", "0.05kg", "--locks", "now and then, when it is cold"]
    terminal = Terminal(arguments, tmp_path, columns=50)
    try:
        assert terminal.wait() == 2
    finally:
        terminal.close()
    lines = terminal.all_text.strip().splitlines()
    assert len(lines) > 1
    assert max(map(len, lines)) <= 50
    piped_lines = subprocess.run(
        [sys.executable, "-m", "calib", *arguments],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        check=False,
    ).stderr
    assert piped_lines.count("\n") == 1
    assert " ".join(piped_lines.split()) == " ".join(terminal.all_text.split())


def test_a_folder_that_cannot_be_written_is_said_before_anybody_pulls(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    done = piped(QUICK, tmp_path, "B07", "--out", "file/below")
    assert done.returncode == 1
    assert b"another folder with --out" in done.stderr


def test_what_cannot_be_resumed_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "x.run.csv").write_text("no run\n")
    for name in ("absent.run.csv", "x.run.csv", "."):
        done = piped("", tmp_path, "--resume", name)
        assert done.returncode == 1
        assert done.stderr.startswith(b"bandcurve: ")
        assert done.stderr.count(b"\n") == 1


@pytest.mark.parametrize(
    "options",
    [
        ["--flat", "abc"],
        ["--lengths", "1100 x 1300"],
        ["--loads", "5 ten 20"],
        ["--holes", "two"],
        ["--dwell", "nan"],
        ["--move-time", "nan"],
        ["--method", "guess"],
    ],
)
def test_an_option_that_cannot_be_read_is_wrong_usage(options: list[str], tmp_path: Path) -> None:
    done = piped("", tmp_path, "B07", *options)
    assert done.returncode == 2, done.stderr
    assert options[0].encode() in done.stderr
    assert b"Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("arguments", "before"),
    [
        (["scale", "check", "c.scale.json"], [r"Number \[1\]: $"]),
        (["scale", "check", "c.scale.json"], [r"Number \[1\]: $", r"A name for this set.*: $"]),
        (["scale", "new", "g"], [r": $"]),
    ],
)
def test_the_end_of_input_at_a_question_about_a_scale_is_one_sentence(
    arguments: list[str], before: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["scale", "new", "c", "--resolution", "0.05kg", "--capacity", "50kg"]) == 0
    terminal = Terminal(arguments, tmp_path)
    for i, prompt in enumerate(before):
        if i:
            terminal.send("")
        assert terminal.until([re.compile(prompt)]) == 0
    terminal.press(b"\x04")
    assert terminal.until([]) is None
    assert "Traceback" not in terminal.all_text
    assert "the input ended before the question was answered" in terminal.all_text
    assert terminal.status == 1
