"""`calib.open_stream`, `listen --csv`, `listen --ask`: readings for other programs, and what a device is written."""

import csv
import os
import threading
import tty
from pathlib import Path

import pytest

import calib
from calib.errors import DataError, UsageError
from calib.units import G_STANDARD
from calib.verbs.app import run
from calib.verbs.cell.readings_csv import asked_of


def _capture(folder: Path, line: str) -> Path:
    path = folder / "capture.txt"
    path.write_text("".join(line.format(1.0 + 0.01 * i) + "\n" for i in range(40)))
    return path


def test_readings_have_time_force_and_status(tmp_path: Path) -> None:
    with calib.open_stream(str(_capture(tmp_path, "ST,GS,{:.2f}kg")), rate="fast") as stream:
        readings = list(stream)
    assert readings[0].force_N is None  # what is joined in the middle may begin with the half of a line
    assert [r.force_N for r in readings[1:3]] == pytest.approx([1.01 * G_STANDARD, 1.02 * G_STANDARD])
    assert {r.status for r in readings[1:]} == {"stable"}
    assert [r.time_s for r in readings] == sorted(r.time_s for r in readings)
    assert len(readings) == 40


def test_a_question_is_an_error_that_says_what_answers_it(tmp_path: Path) -> None:
    path = tmp_path / "two.txt"
    path.write_text("".join(f"{100 + i * i % 7} {200 + i * i % 5}\n" for i in range(60)))
    with calib.open_stream(str(path), rate="fast") as stream, pytest.raises(DataError):
        list(stream)


def test_csv_holds_every_line_in_newton_and_as_it_came(tmp_path: Path) -> None:
    out = tmp_path / "pull.csv"
    run(["listen", str(_capture(tmp_path, "{:.2f} kg")), "--rate", "fast", "--csv", str(out)])
    with out.open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 40
    assert float(rows[3]["force_N"]) == pytest.approx(1.03 * G_STANDARD, rel=1e-5)
    assert rows[3]["indication"] == "1.03" and rows[3]["unit"] == "kg" and rows[3]["raw"] == "1.03 kg"


@pytest.mark.parametrize(("text", "baud"), [("R\\r", None), ("", "9600"), ("x" * 65, "9600")])
def test_what_cannot_be_asked_is_refused(text: str, baud: str | None) -> None:
    with pytest.raises(UsageError):
        asked_of(text, "/dev/ttyUSB0", baud)


def test_what_is_written_is_said_first(capsys: pytest.CaptureFixture[str]) -> None:
    assert asked_of("R\\x0D", "COM3", "9600") == b"R\r"
    assert "WRITES" in capsys.readouterr().err


@pytest.mark.terminal
def test_a_silent_device_is_asked_and_a_talking_one_never_is() -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    asked: list[bytes] = []

    def answer() -> None:
        while len(asked) < 15:
            try:
                asked.append(os.read(master, 16))
                os.write(master, b"  1.%02d kg\r\n" % len(asked))
            except OSError:  # the other side is gone
                return

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    with calib.open_stream(os.ttyname(slave), baud=9600, ask=b"R\r") as stream:
        first = next(r for r in stream if r.force_N is not None)
    assert first.force_N == pytest.approx(1.03 * G_STANDARD, rel=0.03)
    assert set(asked) == {b"R\r"}
    os.close(slave)
