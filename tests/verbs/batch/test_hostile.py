"""Damaged boxes and two people at one box: said in a sentence, and no accepted reading is lost. Readings invented."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from calib.acquire.files.run_file import RunWriter, parse_run, read_run
from calib.acquire.recording.batch_plan import BandToMeasure, find
from calib.errors import FileError
from calib.profile.batch_document import load_batch
from calib.records import Row
from calib.safe_write import write_atomically
from tests.verbs.batch.test_box import DESCRIPTION, bandcurve, readings
from tests.verbs.pseudo_terminal import ROOT, Terminal


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A box of four, two of them measured and fitted."""
    folder = tmp_path_factory.mktemp("two")
    bandcurve(folder, "batch", "new", "box", "-n", "4", "--full", "1", "--flat", "1000mm", typed=DESCRIPTION)
    typed = "\n" + "".join("\n" + readings(folder / "box" / f"B0{i}.run.csv") for i in (1, 2))
    bandcurve(folder, "batch", "record", "box", typed=typed)
    done = bandcurve(folder, "batch", "fit", "box")
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture
def box(two: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(two / "box", tmp_path / "box"))


def changed(path: Path, old: str, new: str) -> None:
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


def one_sentence(stderr: str) -> bool:
    return "Traceback" not in stderr and max(map(len, stderr.splitlines())) < 300


@pytest.mark.terminal
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_who_tapes_a_band_that_another_measured_meanwhile_does_not_wipe_its_readings(box: Path) -> None:
    terminals = [Terminal(["batch", "record", "box", "--no-countdown"], box.parent) for _ in range(2)]

    def typed(terminal: Terminal, line: str, then: str) -> None:
        terminal.send(line)
        assert terminal.until([re.compile(then)]) == 0, terminal.all_text

    try:
        for terminal in terminals:
            assert terminal.until([re.compile(r"confirm all of this: $")]) == 0
            typed(terminal, "", r"Next band .*: $")
            typed(terminal, "3", r"Enter when done: $")
            typed(terminal, "", r"end to end, mm: $")
        first, second = terminals
        typed(first, "992", r"not weighed\]: $")
        typed(first, "310", r"kg \[0\]: $")
        for line, then in (("", r"shows, kg: $"), ("7.2", r"shows, kg: $"), ("12.7", r"shows, kg: $")):
            typed(first, line, then)
        typed(first, "20.4", r"Next band .*: $")
        typed(second, "992", r"not weighed\]: $")
        typed(second, "310", r"try the old one again\): $")
        typed(second, "", r"kg \[0\]: $")
    finally:
        for terminal in terminals:
            terminal.close()
    assert len(read_run(box / "B03.run.csv").readings) == 3
    assert len(list(box.glob("B03.*.run.csv"))) == 1


def test_two_who_write_to_one_run_are_told_and_the_file_stays_a_run(box: Path) -> None:
    path = box / "B02.run.csv"
    (first, run), (second, _) = RunWriter.resume(path), RunWriter.resume(path)
    number = max(row.number for row in run.rows) + 1
    first.append(Row(number, "gap", note="note: mine"))
    with pytest.raises(FileError, match="written to by another recording"):
        second.append(Row(number, "gap", note="note: yours"))
    first.append(Row(number + 1, "gap", note="note: mine too"))
    first.close()
    second.close()
    assert [row.note for row in read_run(path).rows][-2:] == ["note: mine", "note: mine too"]


def test_a_run_grown_while_it_was_opened_is_not_written_to(box: Path) -> None:
    path = box / "B02.run.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[:-4])  # half a row at the end, to be cut away
    writer, _ = RunWriter.resume(path)
    with path.open("ab") as other:
        other.write(b"9,gap,,,,,,,x\n")
    with pytest.raises(FileError, match="written to by another recording"):
        writer.append(Row(5, "gap", note="note: mine"))
    writer.close()
    assert path.read_bytes().endswith(b"9,gap,,,,,,,x\n")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("1.56,", '"a",'),
        ("cycles = 1", "cycles = 1000000"),
        ('length_unit = "mm"', 'length_unit = "furlong"'),
    ],
)
def test_a_band_whose_plan_is_damaged_is_named_and_does_not_stop_the_others(box: Path, old: str, new: str) -> None:
    changed(box / "B02.run.csv", old, new)
    done = bandcurve(box.parent, "batch", "record", "box", typed="\n")
    assert "Passed over: B02.run.csv: " in done.stderr
    assert "Next band [B03, three lengths]" in done.stderr
    assert one_sentence(done.stderr)


def test_a_start_without_its_time_zone_can_be_put_in_order(box: Path) -> None:
    text = (box / "B02.run.csv").read_text()
    (box / "B02.run.csv").write_text(re.sub(r"(started = \S+)Z", r"\1", text))
    done = bandcurve(box.parent, "batch", "record", "box", typed="\n")
    assert "Next band [B03, three lengths]" in done.stderr
    assert one_sentence(done.stderr)
    assert parse_run((box / "B02.run.csv").read_bytes(), "x").head.started.utcoffset() is not None  # type: ignore[union-attr]


@pytest.mark.parametrize("damage", ["cut", "deep", "loop"])
def test_a_record_that_cannot_be_read_is_said_before_anything_is_written(box: Path, damage: str) -> None:
    record = box / "batch.json"
    text = record.read_text()
    record.unlink()
    if damage == "loop":
        record.symlink_to("batch.json")
    else:
        record.write_text(text[:300] if damage == "cut" else "[" * 100_000)
    for profile in box.glob("*.profile.json"):
        profile.unlink()
    done = bandcurve(box.parent, "batch", "fit", "box", "--json")
    assert done.returncode == 1
    assert "batch.json" in done.stderr
    assert "--out" in done.stderr
    assert one_sentence(done.stderr)
    assert not list(box.glob("*.profile.json"))


def test_links_in_a_circle_are_said_in_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "mine.profile.json"
    path.symlink_to("mine.profile.json")
    with pytest.raises(FileError, match="cannot be written"):
        write_atomically(path, "{}")


def test_a_damaged_run_of_a_band_with_dots_in_its_id_is_reported_and_the_others_are_fitted(box: Path) -> None:
    for name, old in (("B02.run.csv", '"B02"'),):
        changed(box / name, old, '"B.02.x"')
    (box / "B02.run.csv").rename(box / "B.02.x.run.csv")
    (box / "batch.json").unlink()
    assert bandcurve(box.parent, "batch", "fit", "box").returncode == 0
    (box / "B.02.x.run.csv").write_bytes(b"\xff\xfe\xfd")
    done = bandcurve(box.parent, "batch", "fit", "box")
    assert done.returncode == 1
    assert "B.02.x.run.csv" in done.stderr
    assert "B.02.x.run.csv" in (box / "batch.json").read_text()


def test_a_run_that_says_it_is_of_another_band_of_the_box_is_named(box: Path) -> None:
    changed(box / "B03.run.csv", '"B03"', '"B02"')
    for command in ("record", "fit"):
        done = bandcurve(box.parent, "batch", command, "box", typed="\n")
        assert "B03.run.csv says it is of band B02" in done.stderr
        assert one_sentence(done.stderr)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_in_the_folder_is_not_waited_for(box: Path) -> None:
    os.mkfifo(box / "B09.run.csv")
    os.mkfifo(box / "B09.profile.json")
    assert "Next band" in bandcurve(box.parent, "batch", "record", "box", typed="\n").stderr
    assert bandcurve(box.parent, "batch", "fit", "box").returncode == 0
    assert bandcurve(box.parent, "list", "box").returncode == 0


def test_bands_whose_ids_differ_in_case_only_can_each_be_chosen(box: Path) -> None:
    changed(box / "B02.run.csv", '"B02"', '"b01"')
    bands = [BandToMeasure(read_run(path)) for path in sorted(box.glob("*.run.csv"))]
    assert [find(bands, name).id for name in ("B01", "b01", "b03")] == ["B01", "b01", "B03"]


def test_a_recording_that_two_files_hold_counts_once_and_as_the_longer_one(box: Path) -> None:
    """As where a disk was full for a while, or a folder was copied into another: U would come out too small."""
    (box / "batch.json").unlink()
    whole = (box / "B02.run.csv").read_bytes()
    (box / "B02.2026-03-01.run.csv").write_bytes(whole)
    (box / "B02.run.csv").write_bytes(whole[: whole[:-1].rindex(b"\n") + 1])  # a row less
    done = bandcurve(box.parent, "batch", "fit", "box")
    assert done.returncode == 0, done.stderr
    assert "Set aside, held by another file too: box/B02.run.csv" in done.stdout.replace("\n", " ")
    band = next(b for b in load_batch(box / "batch.json").bands if b.id == "B02")
    assert (band.readings, band.runs) == (3, ("B02.2026-03-01.run.csv",))
    assert "Next band [B03" in bandcurve(box.parent, "batch", "record", "box", typed="\n").stderr


def test_where_no_full_band_can_be_used_the_others_do_not_ask_for_more_of_them(box: Path) -> None:
    """Its profile is not replaced: one that cannot be read lies in its place."""
    (box / "B01.profile.json").write_text("{")
    done = bandcurve(box.parent, "batch", "fit", "box")
    assert done.returncode == 1
    assert "no band that was measured in full could be used" in done.stderr
    assert "measure two or three" not in done.stderr


FULL_AT_B03 = (
    "import os, sys, errno\n"
    "real = os.fsync\n"
    "def full(fd):\n"
    "    path = os.readlink(f'/proc/self/fd/{fd}')\n"
    "    if os.path.isfile(path) and b'B03' in open(path, 'rb').read():\n"
    "        raise OSError(errno.ENOSPC, 'full')\n"
    "    return real(fd)\n"
    "os.fsync = full\n"
    "from calib.verbs.app import run\n"
    "sys.exit(run(sys.argv[1:]))"
)


@pytest.mark.parametrize("there", [False, True])
def test_a_box_the_disk_takes_only_a_part_of_is_not_made(tmp_path: Path, there: bool) -> None:
    if there:
        (tmp_path / "box").mkdir()
        (tmp_path / "box" / "photo.jpg").touch()
    options = ("batch", "new", "box", "-n", "4", "--full", "1", "--flat", "1000mm")
    done = subprocess.run(
        [sys.executable, "-c", FULL_AT_B03, *options],
        input=DESCRIPTION,
        capture_output=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=120,
        check=False,
        text=True,
    )
    assert done.returncode == 1
    assert "the disk is full" in done.stderr
    assert "Traceback" not in done.stderr
    left = {path.name for path in tmp_path.rglob("*")} - {"bandcurve.memory.json"}  # the answers are kept
    assert left == ({"box", "photo.jpg"} if there else set())
