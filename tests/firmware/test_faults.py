"""The table of faults in firmware_notes says what `bandcurve listen` really shows of each."""

import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from calib.acquire.cell.baud import SETTINGS, Setting, judge
from calib.verbs.app import run
from tests.campaigns.board_faults import screens
from tests.firmware.faults import FAULTS, SPEED, Fault
from tests.firmware.harness import NOTES, said_by_firmware
from tests.firmware.wrong_speed import misread

pytestmark = pytest.mark.usefixtures("emulator")

TABLE = "## What `bandcurve listen` shows when something is wrong"
LARGE = {
    "WAIT",
    "FAULT",
    "OVER",
    "GONE",
}  # drawn in large characters; `python -m tests.campaigns.board_faults` prints them


def _table() -> dict[str, str]:
    """What is shown of each fault, by the name it has in the row."""
    part = (NOTES / "README.md").read_text("utf-8").split(TABLE)[1].split("\n## ")[0]
    rows = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in part.splitlines() if line[:2] == "| "]
    return {row[0].strip("| "): row[1] for row in rows[1:]}


def test_each_fault_has_a_row_and_each_row_a_script() -> None:
    assert list(_table()) == [fault.name for fault in FAULTS]


def _quoted(fault: Fault, mark: str) -> list[str]:
    return [text for text in re.findall(f"{mark}([^{mark}]+){mark}", _table()[fault.name]) if text not in LARGE]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.name)
def test_listen_says_what_the_table_says(fault: Fault, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In code type: on what the firmware says, as a captured file."""
    said = said_by_firmware(fault.script, 10)[0]
    capture = tmp_path / "capture.txt"
    capture.write_bytes(misread(said, sent=SPEED, read=fault.read_at) if fault.read_at else said)
    run(["listen", str(capture), "--rate", "fast"])
    shown = capsys.readouterr()
    told = re.sub(r"\s+", " ", shown.out + shown.err)
    for text in _quoted(fault, "`"):
        assert text in told


@pytest.mark.terminal
def test_live_screens_say_what_the_table_says() -> None:
    """In quotation marks, and one fault that a file shows too: on the screen, in real time, all at once."""
    live = [fault for fault in FAULTS if _quoted(fault, '"') or fault.name == "converter lost"]
    assert len(live) >= 3
    with ThreadPoolExecutor(len(live)) as pool:
        for fault, shown in zip(live, pool.map(screens, live), strict=True):
            told = re.sub(r"\s+", " ", " ".join(shown))
            for text in _quoted(fault, '"') + _quoted(fault, "`"):
                assert text in told, fault.name


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
def test_at_a_wrong_speed_its_lines_are_never_text(setting: Setting) -> None:
    said = said_by_firmware(FAULTS[0].script, 80)[0]
    found = judge(misread(said[:4000], sent=SPEED, read=setting.baud))
    assert found == ("text" if setting.baud == SPEED else "garbage")


def test_a_board_that_reports_only_faults_is_quoted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    capture = tmp_path / "capture.txt"
    capture.write_bytes(b"# scale 3\r\n" + b"HX711 not found.\r\n" * 5)
    assert run(["listen", str(capture), "--rate", "fast"]) == 1
    assert "no readings came, only: HX711 not found;" in re.sub(r"\s+", " ", capsys.readouterr().err)
