"""Windows and macOS by stand-ins: what differs there is acted out here. Neither was run."""

import builtins
import errno
import os
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from calib import system
from calib.errors import EndOfInputError, FileError
from calib.file_lock import locked
from calib.safe_write import update, write_atomically
from calib.verbs.terminal import keyboard


class Console:
    """`msvcrt` as far as this program uses it: keys that are waiting, and locks of the first byte of a file."""

    LK_NBLCK = 2

    def __init__(self, keys: str = "") -> None:
        self.waiting = list(keys)
        self.held: dict[tuple[int, int], int] = {}  # file: descriptor

    def kbhit(self) -> bool:
        return bool(self.waiting)

    def getwch(self) -> str:
        return self.waiting.pop(0)

    def locking(self, descriptor: int, how: int, count: int) -> None:
        assert (how, count, os.lseek(descriptor, 0, os.SEEK_CUR)) == (self.LK_NBLCK, 1, 0)
        there = os.fstat(descriptor)
        if (there.st_dev, there.st_ino) in self.held:
            raise OSError(errno.EACCES, "held")
        self.held[there.st_dev, there.st_ino] = descriptor


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> Console:
    """Windows as far as files and keys go: no flock, no termios, an open file cannot be deleted, folders not opened."""
    console = Console()
    monkeypatch.setattr(system, "WINDOWS", True)
    monkeypatch.setattr(system, "fcntl", None)
    monkeypatch.setitem(sys.modules, "msvcrt", console)
    real_open, real_close, real_unlink = os.open, os.close, Path.unlink
    opened: dict[int, tuple[int, int]] = {}

    def open_(path: Any, flags: int, *more: Any, **named: Any) -> int:
        if Path(path).is_dir():
            pytest.fail("a folder cannot be opened on Windows, so nobody tries")
        descriptor = real_open(path, flags, *more, **named)
        there = os.fstat(descriptor)
        opened[descriptor] = (there.st_dev, there.st_ino)
        return descriptor

    def close(descriptor: int) -> None:
        opened.pop(descriptor, None)
        console.held = {file: by for file, by in console.held.items() if by != descriptor}
        real_close(descriptor)

    def unlink(self: Path, missing_ok: bool = False) -> None:
        there = self.stat() if self.exists() else None
        if there and (there.st_dev, there.st_ino) in opened.values():
            error = PermissionError(errno.EACCES, "in use by another program")
            error.winerror = 32  # type: ignore[attr-defined, unused-ignore]
            raise error
        real_unlink(self, missing_ok)

    monkeypatch.setattr(os, "open", open_)
    monkeypatch.setattr(os, "close", close)
    monkeypatch.setattr(Path, "unlink", unlink)
    return console


def test_a_lock_keeps_others_out_and_is_taken_away_on_windows(windows: Console, tmp_path: Path) -> None:
    path = tmp_path / "B07.uses.csv"
    with locked(path) as alone:
        assert alone
        with pytest.raises(FileError, match="is being written by another program"), locked(path, wait_s=0.05):
            pass
    with locked(path):
        pass
    assert list(tmp_path.iterdir()) == []


def test_the_first_byte_is_locked_wherever_the_file_stands(windows: Console, tmp_path: Path) -> None:
    descriptor = os.open(tmp_path / "x", os.O_RDWR | os.O_CREAT)
    os.write(descriptor, b"12345")
    system.take_lock(descriptor)
    assert list(windows.held.values()) == [descriptor]
    os.close(descriptor)


def test_a_growing_file_is_written_on_windows_without_syncing_the_folder(windows: Console, tmp_path: Path) -> None:
    for i in range(3):
        update(tmp_path / "B07.uses.csv", lambda there, i=i: (there or b"") + b"%d\n" % i)  # type: ignore[misc]
    assert (tmp_path / "B07.uses.csv").read_bytes() == b"0\n1\n2\n"
    assert [p.name for p in tmp_path.iterdir()] == ["B07.uses.csv"]


@pytest.mark.parametrize(("code", "times"), [(5, 2), (32, 3), (33, 1)])
def test_a_file_that_is_busy_on_windows_is_tried_again(
    windows: Console, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, times: int
) -> None:
    real, tries = Path.replace, []

    def busy(self: Path, target: Path) -> Path:
        tries.append(self)
        if len(tries) <= times:
            error = PermissionError(errno.EACCES, "a scanner has it open")
            error.winerror = code  # type: ignore[attr-defined, unused-ignore]
            raise error
        return real(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    write_atomically(tmp_path / "x", "new")
    assert ((tmp_path / "x").read_text(), len(tries)) == ("new", times + 1)


def test_denied_is_denied_at_once_where_it_is_not_windows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tries = []

    def denied(self: Path, target: Path) -> Path:
        tries.append(self)
        raise PermissionError(errno.EACCES, "denied")

    monkeypatch.setattr(Path, "replace", denied)
    with pytest.raises(FileError, match="permission denied"):
        write_atomically(tmp_path / "x", "new")
    assert len(tries) == 1


def test_keys_come_where_there_is_no_termios(windows: Console, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "termios", None)
    monkeypatch.setitem(sys.modules, "tty", None)
    windows.waiting = list("\xe0Ha\r\x1b ")
    with keyboard.keys() as key:
        assert [key(0) for _ in range(5)] == ["", "a", "\r", "", " "]
        windows.waiting = ["\x1a"]
        with pytest.raises(EndOfInputError):
            key(0)
        windows.waiting = ["\x03"]
        with pytest.raises(KeyboardInterrupt):
            key(0)


def test_the_floor_is_loaded_where_there_is_neither_fcntl_nor_termios(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *more: Any) -> ModuleType:
        if name in ("fcntl", "termios", "tty", "pwd", "grp", "resource"):
            raise ImportError(name)
        return real(name, *more)

    monkeypatch.setattr(builtins, "__import__", without)
    space = SimpleNamespace()
    for file in ("system.py", "file_lock.py", "safe_read.py", "safe_write.py", "verbs/terminal/keyboard.py"):
        source = (Path(system.__file__).parent / file).read_text("utf-8")
        exec(compile(source, file, "exec"), vars(space) | {"__name__": "loaded"})
