"""A box of bands from labels to a record: made, walked through in any order, interrupted, fitted. Readings invented."""

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import segno

from calib.acquire.files.run_file import read_run
from calib.acquire.recording.batch_plan import UNTAPED, BandToMeasure, few_settings, find, next_band, numbered
from calib.acquire.recording.state import Recording
from calib.errors import DataError
from calib.profile.batch_document import load_batch
from calib.use.report.labels import Label, labels_pdf
from tests.verbs.pseudo_terminal import ROOT, Terminal

DESCRIPTION = "\n50 kg\n0.05\n1\n1\n12\n30 4.5\n\n21\n\n"  # way, scale, tape, pins, section, plate, temperature
FLAT = {"B01": 1000, "B02": 1008, "B03": 992, "B04": 1004}
LEVEL = {"B01": 1.0, "B02": 1.05, "B03": 0.97, "B04": 1.02}


def pull(band: str, length: float, *, back: bool = False) -> float:
    """An invented band of Mooney's law, read between pins of 12 mm. [kgf]"""
    stretch = (length + 13.9) / (FLAT[band] - 1.9)
    force = LEVEL[band] * 9.0 * (stretch - stretch**-2) * (1 + 0.4 / stretch)
    return force * 0.95 if back else force


def bandcurve(folder: Path, *arguments: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "calib", *arguments]
    return subprocess.run(
        command, input=typed, capture_output=True, cwd=folder, env=environment, timeout=120, check=False, text=True
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("box")
    done = bandcurve(folder, "batch", "new", "box", "-n", "4", "--full", "1", "--flat", "1000mm", typed=DESCRIPTION)
    assert done.returncode == 0, done.stderr
    assert "B01 to B04" in done.stdout
    return folder / "box"


def readings(path: Path) -> str:
    """What is typed for one band: conditioning, flat length, mass, zero, readings, and the closing of a full one."""
    band = BandToMeasure(read_run(path))
    lines = ["", str(FLAT[band.id]), "310", ""]
    cycle: list[str] = []
    for slot in Recording.from_run(band.run).slots:
        if slot.kind == "reading":
            cycle.append(f"{pull(band.id, 1000 * (slot.setting or 0), back=slot.branch == 'unloading'):.2f}")
    closing = ["0", ""] if band.full else []
    return "\n".join([*lines, *cycle, *closing]) + "\n"


def test_a_new_batch_has_a_run_for_every_band_and_labels(made: Path) -> None:
    bands = [BandToMeasure(read_run(path)) for path in sorted(made.glob("*.run.csv"))]
    assert [b.id for b in bands] == ["B01", "B02", "B03", "B04"]
    assert [b.full for b in bands] == [True, False, False, False]
    assert all(b.state == "to do" and b.run.head.extensions[UNTAPED] for b in bands)
    assert [b.wanted for b in bands] == [30, 3, 3, 3]
    assert {b.run.head.length.tape for b in bands} == {"box-tape"}
    assert (made / "labels.pdf").read_bytes().startswith(b"%PDF")


def test_a_box_broken_off_leaves_nothing_behind(tmp_path: Path) -> None:
    """The input ends, an option is refused: no folder is left, and one that was there is kept."""
    (tmp_path / "mine").mkdir()
    for folder in ("box", "new/box", "mine", "mine/box"):
        done = bandcurve(tmp_path, "batch", "new", folder, "-n", "4", "--flat", "1000mm", typed="\n50 kg\n0.05\n")
        assert done.returncode == 1
        assert "nothing was written" in done.stderr
        left = [p for p in tmp_path.rglob("*") if p.name != "bandcurve.memory.json"]  # the answers are kept
        assert left == [tmp_path / "mine"]
    for option in (("--lengths", "1130 x"), ("--flat", "-3mm"), ("--paper", "b5"), ("--to", "9m")):
        done = bandcurve(tmp_path, "batch", "new", "box", "-n", "4", *option, typed=DESCRIPTION)
        assert done.returncode in (1, 2), option
        left = [p for p in tmp_path.rglob("*") if p.name != "bandcurve.memory.json"]  # the answers are kept
        assert left == [tmp_path / "mine"]


def test_the_next_box_has_the_gear_of_the_last_and_asks_the_flat_length_of_one_of_its_own(tmp_path: Path) -> None:
    flat = ("--flat", "1000mm")
    assert bandcurve(tmp_path, "batch", "new", "box", "-n", "4", *flat, typed=DESCRIPTION).returncode == 0
    done = bandcurve(tmp_path, "batch", "new", "next", "-n", "2", typed="98 cm\n\n21\n")
    assert done.returncode == 0, done.stderr
    assert "A box of bands, as last time:" in done.stderr
    assert "How will you measure?" not in done.stderr
    first, second = (read_run(tmp_path / box / "B01.run.csv").head for box in ("box", "next"))
    assert second.scale == first.scale
    assert second.band.flat_length == pytest.approx(0.98)


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_box_interrupted_while_it_is_described_leaves_nothing_behind(tmp_path: Path) -> None:
    terminal = Terminal(["batch", "new", "box", "-n", "4", "--flat", "1000mm"], tmp_path)
    assert terminal.until([re.compile(r"Floor scale[^\n]*\nWhich\? \[1\]: $")]) == 0, terminal.all_text
    terminal.interrupt()
    assert terminal.until([re.compile(r"(?!)")]) is None
    assert terminal.status == 130
    assert not list(tmp_path.iterdir())


def test_a_folder_with_runs_is_not_made_anew(made: Path) -> None:
    done = bandcurve(made.parent, "batch", "new", "box", "-n", "4", typed=DESCRIPTION)
    assert done.returncode == 1
    assert "holds runs already" in done.stderr


def test_a_box_is_measured_in_any_order_left_and_taken_up_again(made: Path) -> None:
    """Band 3 first, by its number; then Enter for the next; the input ends in the middle of band 2."""
    first = "\n3\n" + readings(made / "B03.run.csv") + "\n" + readings(made / "B01.run.csv")
    cut = "\n".join(readings(made / "B02.run.csv").split("\n")[:-2]) + "\n"
    done = bandcurve(made.parent, "batch", "record", "box", typed=first + "\n" + cut)
    assert done.returncode == 1, done.stderr
    assert "batch record box" in done.stderr
    states = {b.id: b.state for b in (BandToMeasure(read_run(p)) for p in sorted(made.glob("*.run.csv")))}
    assert states == {"B01": "done", "B02": "begun", "B03": "done", "B04": "to do"}
    assert re.search(r"2 of 4 bands done; about \d+ min left", done.stderr)

    last = readings(made / "B02.run.csv").split("\n")[-2]
    rest = "\n2 full\n\n" + last + "\nB04\n" + readings(made / "B04.run.csv")
    done = bandcurve(made.parent, "batch", "record", "box", typed=rest)
    assert done.returncode == 0, done.stderr
    assert "All 4 bands are measured" in done.stderr
    assert "Next band [B02, begun, three lengths]" in done.stderr
    assert "B02 is already started at three lengths; finish these first; then: B02 full" in done.stderr
    assert "Band B02 continues" in done.stderr
    head = read_run(made / "B04.run.csv").head
    assert (head.band.flat_length, head.band.mass) == (1.004, 0.31)
    assert UNTAPED not in head.extensions


def test_the_box_is_fitted_and_the_levels_come_out(made: Path) -> None:
    done = bandcurve(made.parent, "batch", "fit", "box", "--figure", "levels.svg")
    assert all(f">{band}" in (made.parent / "levels.svg").read_text("utf-8") for band in FLAT)
    assert done.returncode == 0, done.stderr
    record = load_batch(made / "batch.json")
    mean = sum(LEVEL.values()) / 4
    for band in record.bands:
        assert band.level == pytest.approx(LEVEL[band.id] / mean, abs=0.03)
        assert band.borrowed == (band.id != "B01")


def test_bands_nobody_had_in_hand_are_waited_for(tmp_path: Path) -> None:
    bandcurve(tmp_path, "batch", "new", "few", "-n", "2", "--full", "1", "--flat", "1000mm", typed=DESCRIPTION)
    done = bandcurve(tmp_path, "batch", "fit", "few")
    assert "Not measured yet: B01, B02" in done.stdout


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_at_a_terminal_a_list_is_shown_and_an_interruption_says_how_to_go_on(tmp_path: Path) -> None:
    bandcurve(tmp_path, "batch", "new", "few", "-n", "2", "--full", "1", "--flat", "1000mm", typed=DESCRIPTION)
    terminal = Terminal(["batch", "record", "few"], tmp_path)

    def waits_for(words: str) -> None:
        assert terminal.until([re.compile(words)]) == 0, terminal.all_text

    waits_for(r"Press Enter to confirm all of this: $")
    terminal.send("")
    waits_for(r"Next band \[B01, in full\]: $")
    terminal.send("list")
    waits_for(r"B02  three lengths, to do, 0 of 3 readings[^$]*Next band \[B01, in full\]: $")
    terminal.send("9")
    waits_for(r"[Tt]here is no band '9' in this batch[^$]*Next band \[B01, in full\]: $")
    terminal.interrupt()
    assert terminal.wait() == 130
    assert "bandcurve batch record few" in terminal.all_text


def test_a_box_read_in_pounds_is_to_be_fitted_in_pounds(tmp_path: Path) -> None:
    in_pounds = DESCRIPTION.replace("kg", "lb", 1)
    bandcurve(tmp_path, "batch", "new", "box", "-n", "2", "--full", "1", "--flat", "1000mm", typed=in_pounds)
    done = bandcurve(tmp_path, "batch", "record", "box", typed="\nstop\n")
    assert "2 of 2 bands are still to do" in done.stderr
    assert "bandcurve batch fit box --unit lb\n" in done.stderr


def test_of_a_plan_three_places_are_kept_low_middle_and_top() -> None:
    assert few_settings((1.085, 1.145, 1.25, 1.39, 1.56, 1.745, 1.955, 2.18)) == (1.25, 1.56, 2.18)


def test_a_band_is_found_by_id_in_any_case_or_by_its_number(made: Path) -> None:
    bands = [BandToMeasure(read_run(path)) for path in sorted(made.glob("*.run.csv"))]
    assert find(bands, "b02").id == find(bands, "2").id == find(bands, "002").id == "B02"
    with pytest.raises(DataError, match="no band"):
        find(bands, "B20")
    assert next_band([]) is None
    assert numbered("K", 101)[-1] == "K101"


def test_a_label_s_code_says_the_id() -> None:
    """The code is read back with a decoder of its own where one is installed."""
    cv2 = pytest.importorskip("cv2", reason="no decoder of QR codes here")

    matrix = np.array([list(row) for row in segno.make("B07", micro=False, error="m").matrix], dtype=np.uint8)
    image = np.kron(np.pad(1 - matrix, 4, constant_values=1) * 255, np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(image)[0] == "B07"


def test_labels_fill_as_many_pages_as_they_need_and_are_the_same_each_time() -> None:
    labels = [Label(f"B{i:02d}", "measure in full") for i in range(1, 25)]
    document = labels_pdf(labels)
    assert document == labels_pdf(labels)
    assert document.count(b"/Type /Page ") == 2
