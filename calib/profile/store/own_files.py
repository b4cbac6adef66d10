"""Files that belong to a folder: its own and those of the folders below, never hidden ones nor an invented demo's."""

import os
from collections.abc import Iterable, Iterator
from fnmatch import fnmatchcase
from pathlib import Path

MARK = "INVENTED.txt"  # lies in a folder of invented data; an answer about a folder above it leaves that folder out


def is_invented(folder: Path) -> bool:
    """Whether a folder is marked as holding invented data."""
    return (folder / MARK).is_file()


def own_folders(folder: Path, invented: list[Path] | None = None) -> Iterator[tuple[Path, list[str]]]:
    """Walk through a folder and those below it; links to folders are not followed.

    Args:
        folder: Where to begin; it is looked at even if it is marked itself.
        invented: Gets the folders below that were left out for their mark.

    Yields:
        Each folder with the names in it that are not hidden, folders last.
    """
    for here, folders, names in os.walk(folder):
        seen = sorted(name for name in folders if not name.startswith("."))
        folders[:] = [name for name in seen if not is_invented(Path(here, name))]
        if invented is not None:
            invented += [Path(here, name) for name in seen if name not in folders]
        yield Path(here), [*sorted(name for name in names if not name.startswith(".")), *folders]


def own_files(folder: Path, pattern: str) -> list[Path]:
    """Regular files of a folder and of those below it, in order.

    Args:
        folder: Where; one that is not there has none.
        pattern: Of their names, like `*.rig.toml`.
    """
    there = (Path(here, name) for here, names in own_folders(folder) for name in names if fnmatchcase(name, pattern))
    return sorted(path for path in there if path.is_file())


def profile_in(folders: Iterable[Path], band: str) -> Path | None:
    """The profile of a band's name in one of some folders, in whatever case; None where there is none."""
    wanted = f"{band}.profile.json".lower()
    return next((file for folder in folders for file in folder.iterdir() if file.name.lower() == wanted), None)
