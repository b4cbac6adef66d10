"""Why a port cannot be used, in a sentence with its remedy: permission, another program, no device. None is opened."""

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path

from calib.errors import FileError

_NO_PORT = (errno.EISDIR, errno.ENOTTY, errno.EINVAL, errno.ENXIO)


def is_there(name: str) -> bool:
    """Whether a device of that name is there; of a network address nobody knows."""
    with suppress(OSError):  # a name too long, a folder that may not be read
        return "://" in name or Path(name).exists()
    return False


def refusal(error: BaseException, name: str) -> FileError:
    """Why a port could not be opened, and what would fix it."""
    number = getattr(error, "errno", None)
    said = str(error)
    if "://" in name:
        remedy = "check host, port and cable; an address looks like socket://192.168.1.20:4001"
        return FileError("nobody answers at this address", where=name, remedy=remedy)
    if "exclusively lock" in said or number == errno.EBUSY:
        other = holder(name) or "another program"
        return FileError(f"is in use by {other}", where=name, remedy="close that program and try again")
    if number in (errno.EACCES, errno.EPERM):
        return FileError("you are not allowed to use this port", where=name, remedy=_permission_remedy(name))
    if (os.name == "posix" and not is_there(name)) or number == errno.ENOENT:
        remedy = "plug it in; `bandcurve listen` without a name lists what is there"
        return FileError("there is no such port or file", where=name, remedy=remedy)
    if number in _NO_PORT or "configure port" in said:
        remedy = "`bandcurve listen` without a name lists those there are"
        return FileError("is not a serial port", where=name, remedy=remedy)
    return FileError(f"cannot be opened: {said[:100]}", where=name, remedy="unplug it, plug it in and try again")


def group_of(name: str) -> str:
    """The group a device belongs to, in words."""
    try:
        import grp

        return f"group {grp.getgrgid(Path(name).stat().st_gid).gr_name}"
    except (ImportError, OSError, KeyError):
        return "no group known"


def _permission_remedy(name: str) -> str:
    """Which group the port belongs to, and how to join it."""
    try:
        import grp
        import pwd

        status = Path(name).stat()
        group = grp.getgrgid(status.st_gid)
        user = pwd.getpwuid(os.getuid()).pw_name
    except (ImportError, OSError, KeyError):
        return "ask whoever looks after this computer"
    if status.st_mode & 0o060 != 0o060 or group.gr_gid == 0:
        return f"its group {group.gr_name} may not use it either; ask whoever looks after this computer"
    if user in group.gr_mem:
        return f"you are in its group {group.gr_name} already, but not since you logged in: log out and in again"
    join = f"sudo usermod -aG {group.gr_name} {user}"
    return f"it belongs to the group {group.gr_name}: {join}, then log out and in again"


def holder(name: str) -> str:
    """Another program of this user that has the port open: name and process number; Linux only."""
    if not sys.platform.startswith("linux"):
        return ""
    target = os.path.realpath(name)
    for folder in Path("/proc").glob("[0-9]*"):
        if folder.name == str(os.getpid()):
            continue
        with suppress(OSError):
            for descriptor in (folder / "fd").iterdir():
                if str(descriptor.readlink()) == target:
                    return f"{(folder / 'comm').read_text().strip()}, process {folder.name}"
    return ""
