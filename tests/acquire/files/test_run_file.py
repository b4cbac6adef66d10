"""Runs are read whole or refused in one sentence; in `valid`, `invalid`, `unfit` a file is named after the reason."""

import errno
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.acquire.files.run_checks import check_fittable
from calib.acquire.files.run_file import COLUMNS, RunWriter, format_head, format_row, parse_run, read_run
from calib.errors import BandcurveError, DataError, FileError
from calib.fit.curve.estimate import fit_runs
from calib.records import (
    Band,
    CheckLoad,
    Correction,
    LengthSetup,
    Loads,
    Procedure,
    Row,
    RunHead,
    ScaleInUse,
)
from calib.units import G_STANDARD

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
SAMPLES = ROOT / "sample_runs"
VALID = sorted((HERE / "valid").glob("*.csv"))
INVALID = sorted((HERE / "invalid").glob("*.csv"))
UNFIT = sorted((HERE / "unfit").glob("*.csv"))


@pytest.mark.parametrize("path", VALID, ids=lambda p: p.name.removesuffix(".run.csv"))
def test_a_valid_run_says_the_same_however_it_was_saved(path: Path) -> None:
    run = read_run(path)
    assert run.head.band.flat_length == pytest.approx(1.029, rel=1e-12)
    assert run.head.scale is not None
    assert run.head.scale.u_gain == 0.005
    assert [row.number for row in run.rows] == [1, 2, 3, 4, 5, 6, 7]
    assert run.struck == {3: "misread"}
    assert [round((r.force or 0) / G_STANDARD, 6) for r in run.readings] == [5.4, 11.45, 21.15, 10.45]
    assert run.rows[-1].note == 'a, note with "quotes"'
    check_fittable(run)


@pytest.mark.parametrize("path", INVALID, ids=lambda p: p.name.removesuffix(".run.csv"))
def test_what_is_wrong_is_said_in_one_sentence_with_the_place(path: Path) -> None:
    with pytest.raises(BandcurveError) as caught:
        read_run(path)
    sentence = str(caught.value)
    assert path.name.removesuffix(".run.csv") in sentence
    assert "\n" not in sentence
    assert sentence.isascii()
    assert sentence.startswith(path.name)
    assert caught.value.remedy


@pytest.mark.parametrize("path", UNFIT, ids=lambda p: p.name.removesuffix(".run.csv"))
def test_a_run_no_curve_fits_can_be_read_and_is_refused_when_fitted(path: Path) -> None:
    run = read_run(path)
    with pytest.raises(DataError) as caught:
        check_fittable(run)
    assert path.name.removesuffix(".run.csv") in str(caught.value)


@pytest.mark.parametrize("path", [*INVALID, *UNFIT], ids=lambda p: p.name.removesuffix(".run.csv"))
def test_the_command_says_it_too_and_leaves_with_one(path: Path, tmp_path: Path) -> None:
    done = _fit(path, tmp_path)
    assert done.returncode == 1
    assert path.name.removesuffix(".run.csv") in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert not list(tmp_path.iterdir())


def _fit(path: Path, out: Path) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "calib", "fit", str(path), "--out", str(out)]
    return subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)


def test_a_folder_is_no_run(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="is a folder"):
        read_run(tmp_path)


def test_a_file_of_200_mb_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.run.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(FileError, match="larger than 16 MB"):
        read_run(path)


def test_permission_denied(tmp_path: Path) -> None:
    path = tmp_path / "locked.run.csv"
    path.write_bytes(VALID[0].read_bytes())
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("this user may read everything")
    with pytest.raises(FileError, match="permission denied"):
        read_run(path)


def test_a_run_cut_anywhere_is_a_run_or_one_clear_sentence() -> None:
    data = (HERE / "valid" / "plain.run.csv").read_bytes()
    whole = parse_run(data, "B07")
    table = data.index(b"row,kind")
    body = data.index(b"\n", table) + 1
    for cut in range(len(data)):
        if cut < body:
            try:
                assert not parse_run(data[:cut], "B07").rows
            except BandcurveError as error:
                assert "\n" not in str(error)
            continue
        rows = parse_run(data[:cut], "B07").rows
        ended = data[body:cut].count(b"\n")
        assert len(rows) in (ended, ended + 1)
        for row, full in zip(rows, whole.rows, strict=False):
            assert replace(row, note="") == replace(full, note="")


def test_a_resumed_run_goes_on_behind_its_last_whole_row_wherever_it_was_cut(tmp_path: Path) -> None:
    data = (HERE / "valid" / "plain.run.csv").read_bytes()
    body = data.index(b"\n", data.index(b"row,kind")) + 1
    path = tmp_path / "B07.run.csv"
    more = Row(99, "gap", note="back again")
    for cut in range(body, len(data)):
        path.write_bytes(data[:cut])
        writer, before = RunWriter.resume(path)
        with writer:
            writer.append(more)
        after = read_run(path)
        assert after.rows[:-1] == before.rows
        assert after.rows[-1].note == "back again"


def test_a_row_is_in_the_file_when_append_returns_and_an_existing_file_stays(tmp_path: Path) -> None:
    path = tmp_path / "B07.run.csv"
    head = RunHead(Band("B07", 1.029), scale=ScaleInUse("hook", 0.49))
    with RunWriter.create(path, head) as writer:
        for i in range(3):
            writer.append(Row(i + 1, "reading", 1, "loading", 1.2 + i / 10, 100.0 * (i + 1)))
            assert len(read_run(path).rows) == i + 1
    before = path.read_bytes()
    with pytest.raises(FileError, match="exists already"):
        RunWriter.create(path, head)
    assert path.read_bytes() == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_a_full_disk_is_said_in_one_sentence() -> None:
    descriptor = os.open("/dev/full", os.O_WRONLY)
    with RunWriter(Path("B07.run.csv"), COLUMNS, descriptor) as writer, pytest.raises(FileError) as caught:
        writer.append(Row(1, "zero", force=0.0))
    assert "\n" not in str(caught.value)


def test_what_a_full_disk_took_of_a_row_does_not_stand_before_the_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, real = tmp_path / "B07.run.csv", os.write

    def half(descriptor: int, data: bytes) -> int:
        real(descriptor, data[: len(data) // 2])
        raise OSError(errno.ENOSPC, "full")

    with RunWriter.create(path, RunHead(Band("B07", 1.029), scale=ScaleInUse("hook", 0.49))) as writer:
        writer.append(Row(1, "zero", force=0.0))
        before = path.read_bytes()
        with monkeypatch.context() as full:
            full.setattr(os, "write", half)
            with pytest.raises(FileError, match="full"):
                writer.append(Row(2, "reading", 1, "loading", 1.3, 100.0))
        assert path.read_bytes() == before
        writer.append(Row(2, "reading", 1, "loading", 1.3, 100.0))
    assert [row.number for row in read_run(path).rows] == [1, 2]


def test_a_file_that_another_wrote_to_is_not_written_to(tmp_path: Path) -> None:
    path = tmp_path / "B07.run.csv"
    with RunWriter.create(path, RunHead(Band("B07", 1.029), scale=ScaleInUse("hook", 0.49))) as writer:
        with path.open("a", encoding="utf-8") as other:
            other.write("1,gap,,,,,,,,\n")
        before = path.read_bytes()
        with pytest.raises(FileError, match="another recording"):
            writer.append(Row(1, "zero", force=0.0))
        assert path.read_bytes() == before


_size = st.floats(0.001, 0.5)  # valid as a length, a mass, a force and a relative uncertainty
_name = st.from_regex(r"[A-Z][A-Za-z0-9_-]{0,9}9", fullmatch=True)
_text = st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=20)
_three = st.tuples(_size, _size, _size)
_correction = st.builds(
    Correction,
    st.just("2026-02-27"),
    st.tuples(_size, st.floats(0.5, 2.0), st.floats(-1e-4, 1e-4)),
    _three.map(lambda sd: tuple(tuple(a * b for b in sd) for a in sd)),  # of three errors that go together
    st.floats(0, 5),
    st.none() | _size,
    st.none() | _name,
    _three,
)
_heads = st.builds(
    RunHead,
    st.builds(
        Band,
        _name,
        st.floats(1.1, 9.0),
        _size,
        st.none() | _size,
        st.none() | _size,
        st.none() | _size,
        note=st.none() | _text,
    ),
    st.builds(LengthSetup, st.sampled_from(["band-inner", "centres"]), st.tuples(_size, _size), _size, _size, _size),
    st.none()
    | st.builds(ScaleInUse, _name, _size, st.none() | _size, st.none() | _size, correction=st.none() | _correction),
    st.builds(
        Procedure, conditioned_to=st.none() | _size, temperature=st.floats(-20, 40), altitude=st.floats(-100, 3000)
    ),
    st.none() | st.builds(Loads, _name, _size, _size, _size),
    st.none() | st.builds(CheckLoad, _name, _size, _size),
    st.none() | st.datetimes(datetime(2020, 1, 1), datetime(2040, 1, 1), timezones=st.just(UTC)),
    st.dictionaries(_name, _text | st.integers(-9, 9), max_size=3),
)


@settings(deadline=None)
@given(_heads)
def test_a_head_written_and_read_again_is_the_same(head: RunHead) -> None:
    data = (format_head(head) + "cycle,branch,length_mm,force_kgf,note\n").encode()
    back = parse_run(data, "B07").head
    assert format_head(back) == format_head(head)
    assert back.band.flat_length == pytest.approx(head.band.flat_length, rel=1e-11)
    assert (back.extensions, back.band.note, back.started) == (head.extensions, head.band.note, head.started)
    assert (back.scale and back.scale.correction) == (head.scale and head.scale.correction)


_values = st.none() | st.floats(0.0, 5000)
_rows = st.lists(
    st.builds(
        Row,
        number=st.just(1),
        kind=st.just("reading"),
        cycle=st.integers(0, 9),
        branch=st.sampled_from(["loading", "unloading"]),
        length=st.floats(1.1, 5.0),
        force=st.floats(-5000, 5000),
        at_s=_values,
        dwell_s=_values,
        note=st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), max_size=12),
    ),
    max_size=8,
)


@settings(deadline=None)
@given(_rows)
def test_rows_written_and_read_again_are_the_same(rows: list[Row]) -> None:
    numbered = [replace(row, number=i + 1) for i, row in enumerate(rows)]
    text = format_head(RunHead(Band("B07", 1.0), LengthSetup("half-path"))) + ",".join(COLUMNS) + "\n"
    back = parse_run((text + "".join(format_row(row, COLUMNS) for row in numbered)).encode(), "B07").rows
    assert len(back) == len(numbered)
    for old, new in zip(numbered, back, strict=True):
        same = ("number", "kind", "cycle", "branch", "note")
        assert [getattr(new, f) for f in same] == [getattr(old, f) for f in same]
        for field in ("length", "force", "at_s", "dwell_s"):
            was = getattr(old, field)
            assert getattr(new, field) == (was if was is None else pytest.approx(was, rel=1e-11, abs=1e-12))


@given(st.binary(max_size=300))
def test_no_bytes_make_anything_but_a_run_or_a_sentence(data: bytes) -> None:
    for prefix in (b"", b'# format = "bandcurve-run/1"\n', (HERE / "valid" / "plain.run.csv").read_bytes()):
        try:
            parse_run(prefix + data, "B07")
        except BandcurveError as error:
            assert "\n" not in str(error)


V1 = """# format = "bandcurve-run/1"
# [band]
# id = "B07"
# flat_length_mm = 1000
# [scale]
# id = "hook"
# resolution_kgf = 0.05
row,kind,cycle,branch,length_mm,force_kgf,note
"""
EVENTS_1 = """1,zero,,,,0.1,
2,reading,1,loading,1134,5.4,"chalk; kept when questioned"
3,zero,,,,0.15,between
4,gap,,,,,"zero lost: the board started again"
5,gap,1,loading,,,"skipped reading: strap slipped"
6,gap,1,loading,1900,,"left out: pull would pass the limit"
7,gap,1,loading,,,"plan from here [m]: 1.134 1.287"
8,gap,2,loading,,,"next: 2 loading 1.485"
9,gap,,,,,"enough: U 1.59 %"
10,gap,,,,,"note: tea"
11,strike,,,,,"row 2: misread"
12,gap,,,,,"zero lost interest and made tea"
13,gap,,,,,"zero looked at again"
"""


def test_notes_of_version_1_are_typed_rows_and_a_remark_stays_one() -> None:
    run = parse_run((V1 + EVENTS_1).encode(), "x")
    assert [(r.kind, r.about, r.note) for r in run.rows[1:]] == [
        ("reading", "kept", "chalk"),
        ("zero", "between", ""),
        ("zero-lost", "", "the board started again"),
        ("skipped", "reading", "strap slipped"),
        ("left-out", "", "pull would pass the limit"),
        ("planned", "1.134 1.287", ""),
        ("chosen", "", ""),
        ("enough", "", "U 1.59 %"),
        ("note", "", "tea"),
        ("strike", "2", "misread"),
        ("gap", "", "zero lost interest and made tea"),
        ("gap", "", "zero looked at again"),
    ]
    assert (run.rows[7].cycle, run.rows[7].branch, run.rows[7].length) == (2, "loading", 1.485)
    assert run.struck == {2: "misread"}


def test_typed_rows_are_written_the_way_of_version_1_into_a_file_begun_in_it(tmp_path: Path) -> None:
    path = tmp_path / "x.run.csv"
    path.write_text(V1, "utf-8")
    rows = parse_run((V1 + EVENTS_1).encode(), "x").rows
    writer, _ = RunWriter.resume(path)
    with writer:
        writer.extend(rows)
    assert path.read_text("utf-8").startswith(V1)
    assert [replace(r, line=0) for r in parse_run(path.read_bytes(), "x").rows] == [replace(r, line=0) for r in rows]


def test_typed_rows_are_read_back_as_they_were_written(tmp_path: Path) -> None:
    rows = parse_run((V1 + EVENTS_1).encode(), "x").rows
    path = tmp_path / "x.run.csv"
    with RunWriter.create(path, parse_run((V1 + EVENTS_1).encode(), "x").head) as writer:
        writer.extend(rows)
    assert path.read_text("utf-8").startswith('# format = "bandcurve-run/2"')
    assert [replace(r, line=0) for r in parse_run(path.read_bytes(), "x").rows] == [replace(r, line=0) for r in rows]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("3,strike,,,,,,", "does not say which row; write the row's number under about"),
        ("3,strike,9,,,,,", "strikes row 9"),
        ("3,skipped,tea,,,,,", "does not say what was skipped"),
        ("3,chosen,,1,loading,,,", "asks for a reading without"),
        ("3,lost,,,,,,", "the kind 'lost' is unknown"),
    ],
)
def test_a_typed_row_that_says_nothing_is_named(row: str, said: str) -> None:
    head = V1.replace("run/1", "run/2").replace("kind,cycle", "kind,about,cycle")
    with pytest.raises(DataError, match=said):
        parse_run((head + "1,zero,,,,,0.1,\n2,reading,,1,loading,1134,5.4,\n" + row + "\n").encode(), "x")


@pytest.mark.parametrize("kind", ["gap", "note"])
@pytest.mark.parametrize("note", ["zero looked at again", "zero lost interest and made tea", "zero lost"])
def test_a_note_never_steers_the_fit(kind: str, note: str) -> None:
    """With a closing zero a kilogram off, a row that parts the run would change the curve by 3 N."""
    lines = (SAMPLES / "KNEE.run.csv").read_text("utf-8").splitlines(keepends=True)
    at = max(i for i, line in enumerate(lines) if ",zero," in line)
    lines[at] = lines[at].replace(",0,", ",1,")
    middle = next(i for i, line in enumerate(lines) if line.startswith("25,reading"))
    told = [*lines[:middle], f'99,{kind},,,,,,,,"{note}"\n', *lines[middle:]]
    assert [r.kind for r in parse_run("".join(told).encode(), "x").rows].count("zero-lost") == 0
    plain, noted = (fit_runs([parse_run("".join(x).encode(), "x")]) for x in (lines, told))
    assert np.array_equal(plain.curve.loading.force, noted.curve.loading.force)
