"""Files that several programs write to at once: every entry that was acknowledged is there, whoever else writes."""

import errno
import multiprocessing
import subprocess
import sys
import time
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from calib import safe_write
from calib.errors import DataError, FileError
from calib.file_lock import locked
from calib.profile.store.band_log import Kind, begun
from calib.profile.store.log_file import add_entry
from calib.profile.store.memory import NAME, recall, remember
from calib.profile.store.rechecks import noted_once, parse_rechecks
from calib.profile.store.uses import KIND, Use, counted_once, new_log, parse_uses, row_of
from calib.safe_write import update, write_atomically
from calib.scale import Scale, load_scale, save_scale, update_scale
from calib.stamp import stamp

EACH, PROCESSES = 12, 8
V1 = '# format = "bandcurve-uses/1"\n# band = "B07"\nwritten_at,on,reps,note\n'
OLD_ROW = '2026-04-01T18:20:05+02:00,2026-04-01,60,"squats"\n'


def _add(path: Path, reps: int = 1) -> None:
    add_entry(path, KIND, "B07", lambda version: row_of(Use("B07", date(2026, 4, 1), reps, stamp=stamp()), version))


def _add_many(path: Path) -> None:
    for _ in range(EACH):
        _add(path)


def _remember_many(folder: Path, who: int) -> None:
    for i in range(EACH):
        remember(folder, {f"{who}.{i}": i})


def _at_once(*jobs: multiprocessing.process.BaseProcess) -> None:
    for job in jobs:
        job.start()
    for job in jobs:
        job.join(60)
        assert job.exitcode == 0


@pytest.mark.parametrize("begin", ["", V1, new_log("B07")])
def test_every_entry_of_programs_that_write_at_once_is_there(tmp_path: Path, begin: str) -> None:
    path = tmp_path / "B07.uses.csv"
    if begin:
        path.write_text(begin, "utf-8")
    _at_once(*(multiprocessing.Process(target=_add_many, args=(path,)) for _ in range(PROCESSES)))
    found = parse_uses(path.read_bytes(), path.name)
    assert len(found) == len(counted_once(found)) == EACH * PROCESSES
    assert [p.name for p in tmp_path.iterdir()] == [path.name]  # no lock and no half file is left


def test_memory_keeps_what_every_program_noted(tmp_path: Path) -> None:
    _at_once(*(multiprocessing.Process(target=_remember_many, args=(tmp_path, who)) for who in range(PROCESSES)))
    assert len(recall(tmp_path)) == EACH * PROCESSES


def test_memory_merges_the_copy_a_sync_left_and_the_newest_of_a_key_stands(tmp_path: Path) -> None:
    remember(tmp_path, {"tape": "inside", "unit": "kg"})
    (tmp_path / NAME).rename(tmp_path / "bandcurve.memory (copy of the laptop).json")
    remember(tmp_path, {"unit": "lb", "plates": [20, 10]})
    assert {key: found.value for key, found in recall(tmp_path).items()} == {
        "tape": "inside",
        "unit": "lb",
        "plates": [20, 10],
    }
    (tmp_path / NAME).write_text('{"format": "bandcurve-memory/2", "entries": {}}', "utf-8")
    with pytest.raises(DataError, match="newer"):
        remember(tmp_path, {"unit": "kg"})
    assert recall(tmp_path)["tape"].value == "inside"


def test_a_check_of_a_scale_finished_meanwhile_stays(tmp_path: Path) -> None:
    path = tmp_path / "hook.scale.json"
    made = {"format": "bandcurve-scale/1", "id": "hook", "kind": "hanging-scale", "resolution_N": 0.5}
    before = Scale.model_validate(made)
    save_scale(before, path)
    update_scale(path, lambda now: now.model_copy(update={"note": "somebody else's, meanwhile"}))
    update_scale(path, lambda now: now.with_changes(before, before.model_copy(update={"capacity_N": 500.0})))
    assert (load_scale(path).note, load_scale(path).capacity_N) == ("somebody else's, meanwhile", 500.0)


def test_a_program_that_dies_with_the_lock_gives_it_back(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    code = "import os, sys, pathlib, calib.file_lock as f\nwith f.locked(pathlib.Path(sys.argv[1])): os._exit(9)"
    assert subprocess.run([sys.executable, "-c", code, str(path)], check=False).returncode == 9
    with locked(path, wait_s=1.0):
        pass


def test_a_lock_that_is_held_is_said_after_the_wait(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    with locked(path), pytest.raises(FileError, match="is being written by another program"), locked(path, wait_s=0.1):
        pass


def test_a_change_that_fails_leaves_the_file(tmp_path: Path) -> None:
    path = tmp_path / "B07.uses.csv"
    path.write_text("hello\n", "utf-8")
    with pytest.raises(DataError, match="not a use log"):
        _add(path)
    assert path.read_text("utf-8") == "hello\n"


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such file or folder"):
        update(tmp_path / "none" / "x.csv", lambda _: b"x")


def test_a_busy_disk_is_tried_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real, times = Path.replace, []

    def busy(self: Path, target: Path) -> Path:
        times.append(time.monotonic())
        if len(times) < 3:
            raise OSError(errno.EBUSY, "busy")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    write_atomically(tmp_path / "x", b"new")
    assert ((tmp_path / "x").read_bytes(), len(times)) == (b"new", 3)
    monkeypatch.setattr(safe_write, "_BUSY_S", 0.0)
    times.clear()
    with pytest.raises(FileError):
        write_atomically(tmp_path / "x", b"newer")
    assert (tmp_path / "x").read_bytes() == b"new"


def test_version_one_is_read_and_goes_on_as_version_one(tmp_path: Path) -> None:
    path = tmp_path / "B07.uses.csv"
    path.write_text(V1 + OLD_ROW + OLD_ROW, "utf-8")
    _add(path, 45)
    text = path.read_text("utf-8")
    assert text.startswith(V1 + OLD_ROW + OLD_ROW)
    found = counted_once(parse_uses(text.encode(), path.name))
    assert [(u.reps, u.note) for u in found] == [(45, ""), (60, "squats")] or [u.reps for u in found] == [60, 45]
    assert len({u.stamp.entry for u in found}) == 2  # the row that is there twice is one, here as in history


def test_rechecks_of_one_day_stand_in_the_order_of_their_instants_not_of_their_text() -> None:
    """At the end of summer time 02:30+02:00 comes before 02:10+01:00; as text it comes after."""
    head = '# format = "bandcurve-rechecks/1"\n# band = "B07"\n' + (
        "written_at,on,mass_kg,u_mass_kg,length_mm,length_kind,fitting_diameters_mm,temperature_C,calibrated_on,note\n"
    )
    row = "{at},2026-10-25,10,0.129,{mm},band-inner,12 12,18,,\n"
    first, last = (
        row.format(at="2026-10-25T02:30:00+02:00", mm=1432),
        row.format(at="2026-10-25T02:10:00+01:00", mm=1500),
    )
    found = noted_once(parse_rechecks((head + last + first).encode(), "x"))
    assert [r.length for r in found] == [1.432, 1.5]


def test_a_log_of_another_band_is_refused_and_case_does_not_matter(tmp_path: Path) -> None:
    path = tmp_path / "B07.uses.csv"
    _add(path)
    use = Use("b07", date(2026, 4, 1), 5, stamp=stamp())
    add_entry(path, KIND, "b07", lambda version: row_of(use, version))
    assert len(parse_uses(path.read_bytes(), path.name)) == 2
    with pytest.raises(DataError, match="is of B07"):
        add_entry(path, KIND, "B08", lambda version: row_of(replace(use, band="B08"), version))


def test_a_new_log_names_its_columns() -> None:
    kind = Kind("uses", "use log", ("reps",), "bandcurve log")
    assert begun(kind, "B07").splitlines()[-1] == "entry,at,on,reps,note"


def test_what_is_remembered_now_stands_though_the_clock_was_set_back(tmp_path: Path) -> None:
    remember(tmp_path, {"gear.tape": "inside"})
    path = tmp_path / NAME
    path.write_text(path.read_text().replace(f'"at": "{date.today().year}-', '"at": "2099-'))
    remember(tmp_path, {"gear.tape": "outside"})
    assert recall(tmp_path)["gear.tape"].value == "outside"


def test_a_file_beyond_its_cap_is_refused_and_left(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(b"x" * 1001)
    with pytest.raises(FileError, match="is larger than"):
        update(path, lambda _: b"new", cap_bytes=1000)
    assert path.stat().st_size == 1001
    assert update(path, lambda there: (there or b"")[:-1], cap_bytes=1001) == b"x" * 1000


def test_an_entry_goes_behind_the_last_whole_row_where_one_was_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "B07.uses.csv"
    _add(path, 5)
    whole = path.read_text("utf-8")
    path.write_text(whole + whole.splitlines()[-1][:20], "utf-8")
    _add(path, 7)
    assert [u.reps for u in parse_uses(path.read_bytes(), path.name)] == [5, 7]
    assert path.read_text("utf-8").startswith(whole)
