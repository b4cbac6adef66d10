"""The one way a file is opened for reading: regular files only, never waited for, never more than a cap is held.

Every kind of file goes through here, whoever named it: a person, a folder, or another file.
"""

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

from calib import system
from calib.errors import DataError, FileError, file_error


def read_capped(path: Path, cap_bytes: int) -> bytes:
    """The bytes of any file, no more than just past a cap, so that a huge one is refused without being held.

    Args:
        path: The file.
        cap_bytes: What the caller accepts; one byte more is read where there is more. [byte]

    Raises:
        FileError: It cannot be read.
    """
    with open_regular(path) as file:
        try:
            return file.read(cap_bytes + 1)
        except OSError as error:
            raise file_error(error, path, "read") from error


def open_regular(path: Path) -> BinaryIO:
    """Open a file that is one: a pipe, a device or a socket could be waited for without end.

    Raises:
        FileError: It cannot be read, or is no regular file.
    """
    try:
        handle = os.open(path, os.O_RDONLY | system.BINARY | system.AT_ONCE)
    except ValueError:
        raise FileError("is not a file name", where=ascii(str(path))[:80], remedy="check the name") from None
    except OSError as error:
        if error.errno == errno.EACCES and path.is_dir():  # what Windows says of a folder
            raise _folder(path) from None
        raise file_error(error, path, "read") from error
    mode = os.fstat(handle).st_mode
    if stat.S_ISREG(mode):
        return os.fdopen(handle, "rb")
    os.close(handle)
    if stat.S_ISDIR(mode):
        raise _folder(path)
    raise FileError("is not a regular file", where=str(path), remedy="save what it gives in a file first")


def utf8_text(data: bytes, where: str, remedy: str = "is it the right file?") -> str:
    """Bytes as text, with or without a byte order mark.

    Args:
        data: The whole file.
        where: What to call it in an error.
        remedy: What to do where it is no text.

    Raises:
        DataError: They are no UTF-8.
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise not_utf8(data, where, remedy) from None


def not_utf8(data: bytes, where: str, remedy: str = "is it the right file?") -> DataError:
    """The error for bytes that are no UTF-8; some spreadsheets save every character as two bytes."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return DataError("is saved as UTF-16", where=where, remedy="save it again as UTF-8")
    return DataError("is not a text file in UTF-8", where=where, remedy=remedy)


def _folder(path: Path) -> FileError:
    return FileError("is a folder", where=str(path), remedy="name a file in it")
