"""Files written: what a kill left is taken over, nothing is written over, nothing is left behind where it fails."""

import errno
import multiprocessing
import os
import stat
from pathlib import Path

import pytest

from calib import system
from calib.errors import FileError
from calib.file_lock import locked
from calib.safe_write import new_folder, update, write_atomically, write_new


def names(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_what_a_kill_left_is_taken_over_by_the_next_write(tmp_path: Path) -> None:
    path = tmp_path / "B07.profile.json"
    job = multiprocessing.get_context("fork").Process(target=_die_before_the_replace, args=(path,))
    job.start()
    job.join()
    assert job.exitcode == 9
    assert all(name.startswith(".") for name in names(tmp_path)), "never seen in a listing"
    write_atomically(path, "new")
    assert names(tmp_path) == [path.name]


def _die_before_the_replace(path: Path) -> None:
    Path.replace = lambda self, target: os._exit(9)  # type: ignore[method-assign]
    write_atomically(path, "half")


def test_a_disk_that_cannot_lock_has_a_part_of_its_own_for_each_write(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cannot(descriptor: int) -> None:
        raise OSError(errno.ENOLCK, "no locks")

    monkeypatch.setattr(system, "take_lock", cannot)
    parts = []
    real = Path.replace

    def noted(self: Path, target: Path) -> Path:
        parts.append(self.name)
        return real(self, target)

    monkeypatch.setattr(Path, "replace", noted)
    for _ in range(2):
        write_atomically(tmp_path / "x.json", "new")
    assert len(set(parts)) == 2


@pytest.mark.parametrize("there", ["B07.run.csv", "b07.RUN.csv"])
def test_a_new_file_is_never_written_over_one_of_that_name_in_any_case(tmp_path: Path, there: str) -> None:
    """On some systems the two are one file, and a folder is copied between systems."""
    (tmp_path / there).write_text("kept")
    with pytest.raises(FileError, match="exists and is not overwritten"):
        write_new(tmp_path / "B07.run.csv", "new")
    assert names(tmp_path) == [there]


def test_of_two_programs_that_begin_one_file_only_one_does(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "B07.run.csv"
    real, asked = system.is_taken, []

    def taken(place: Path) -> bool:
        asked.append(place)
        if len(asked) == 1:
            path.write_text("the other's")  # after the first look
            return False
        return real(place)

    monkeypatch.setattr(system, "is_taken", taken)
    with pytest.raises(FileError):
        write_new(path, "mine")
    assert path.read_text() == "the other's"


def test_a_folder_made_for_nothing_is_taken_away_again(tmp_path: Path) -> None:
    (tmp_path / "old").mkdir()
    with pytest.raises(FileError, match="the disk is full"), new_folder(tmp_path / "old" / "a" / "b"):
        raise OSError(errno.ENOSPC, "full")
    assert names(tmp_path / "old") == []
    with pytest.raises(KeyboardInterrupt), new_folder(tmp_path / "old" / "a"):
        (tmp_path / "old" / "a" / "B07.run.csv").write_text("kept")
        raise KeyboardInterrupt
    assert names(tmp_path / "old" / "a") == ["B07.run.csv"]


def test_a_folder_that_is_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("")
    with pytest.raises(FileError, match="is a file, not a folder"), new_folder(tmp_path / "out"):
        pass


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_growing_file_that_is_a_pipe_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "B07.uses.csv")
    with pytest.raises(FileError, match="is not a regular file"):
        update(tmp_path / "B07.uses.csv", lambda there: b"x")


@pytest.mark.skipif(os.name != "posix", reason="links are POSIX here")
def test_a_lock_that_is_a_link_makes_no_file_elsewhere(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / ".B07.uses.csv.lock").symlink_to(tmp_path / "home" / "made")
    with pytest.raises(FileError):
        update(tmp_path / "B07.uses.csv", lambda there: b"x")
    assert names(tmp_path / "home") == []


@pytest.mark.skipif(system.WINDOWS, reason="stands in for a lock of this system")
def test_a_lock_whose_file_was_taken_away_while_it_was_taken_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who held it before takes its file away at that instant, and somebody else locks the new one."""
    path, lock, real = tmp_path / "B07.uses.csv", tmp_path / ".B07.uses.csv.lock", system.take_lock
    others: list[int] = []

    def take(descriptor: int) -> None:
        real(descriptor)
        if not others:
            lock.unlink()
            others.append(os.open(lock, os.O_RDWR | os.O_CREAT, 0o666))
            real(others[0])

    monkeypatch.setattr(system, "take_lock", take)
    with pytest.raises(FileError, match="written by another program"), locked(path, wait_s=0.05):
        pytest.fail("two programs hold one lock")
    assert len(others) == 1
    os.close(others[0])


@pytest.mark.skipif(system.WINDOWS, reason="no folder is synced there")
def test_bytes_are_on_the_disk_before_their_name_and_the_name_after(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def synced(descriptor: int) -> None:
        done.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        fsync(descriptor)

    def replaced(self: Path, target: Path) -> Path:
        done.append("name")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(Path, "replace", replaced)
    write_atomically(tmp_path / "x", "new")
    assert done == ["file", "name", "folder"]
