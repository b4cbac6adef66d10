"""What a folder holds of bands, read at a glance: of each profile a card with what tells bands apart, and the logs.

A folder of some hundred profiles is looked through in tens of milliseconds, because a card takes a few numbers and
checks no more; the one profile that is answered from is then read and checked whole, elsewhere. Nothing is judged here.
A file that cannot be read is a `Problem` with the band it seems to be of, never an error: the others still answer.
"""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar

from calib.errors import BandcurveError, DataError, FileError
from calib.frozen import dataclass
from calib.identity import PATTERN as ID_PATTERN
from calib.profile.store.decisions import PATTERN as DECISIONS
from calib.profile.store.decisions import Decision, parse_decisions
from calib.profile.store.own_files import own_folders
from calib.profile.store.rechecks import Recheck, parse_rechecks
from calib.profile.store.uses import Use, parse_uses
from calib.safe_read import read_capped
from calib.stamp import ID_DIGITS, derived_id

CAP_BYTES = 4_000_000
MOST_FILES, MOST_ENTRIES = 10_000, 200_000  # of bands; of anything, in all folders below
_STARTED = re.compile(rb"^#\s*started\s*=\s*([0-9T:.+Z-]{16,40})", re.MULTILINE)
_LOGS = re.compile(r"(.+?)\.(uses|rechecks)\b.*\.csv", re.IGNORECASE)
_PATH = re.compile(r".*\.(json|csv|toml)", re.IGNORECASE | re.DOTALL)
_HEAD_BYTES = 4000

T = TypeVar("T")


@dataclass(frozen=True)
class Problem:
    """A file that could not be used."""

    path: Path
    mark: str  # of the band its name speaks of, "" where none
    text: str  # one sentence


@dataclass(frozen=True)
class Card:
    """One profile at a glance."""

    path: Path
    folder: str  # it lies in, as seen from the folder looked through; "" for that itself
    mark: str  # the band's name in the file
    digest: str  # of the file's bytes
    key: str  # of the calibration: the same for all profiles of the same runs
    runs: frozenset[str]  # digests of the runs behind it
    sources: int  # files behind it
    day: str  # ISO, "" where not noted
    started: str  # the instant its first run was begun, "" where not known
    flat_length: float  # [m]
    strands: int
    lengths: tuple[float, ...]  # [m] half path, loading
    forces: tuple[float, ...]  # [N]
    u_relative: float  # of the mean curve, in the middle
    codes: frozenset[str]  # of its findings

    @property
    def loop(self) -> tuple[float, int]:
        """Flat length and strands: what no use changes."""
        return self.flat_length, self.strands


@dataclass(frozen=True)
class Logged:
    """An entry of a log and where it lies."""

    folder: str
    entry: Use | Recheck


@dataclass
class Cards:
    """Everything found."""

    folder: Path
    cards: list[Card] = field(default_factory=list)
    logged: list[Logged] = field(default_factory=list)
    decisions: list[Decision] = field(default_factory=list)
    recorded: dict[str, str] = field(default_factory=dict)  # mark in lower case: mark, of runs that are there
    scales: list[Path] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    invented: list[Path] = field(default_factory=list)  # folders below that were left out: a demo's


def read_cards(folder: Path) -> Cards:
    """Look through a folder and the folders below it; a content that is there twice counts once.

    Raises:
        FileError: It is not a folder.
        DataError: It holds too much to be a folder of bands.
    """
    if not folder.is_dir():
        raise FileError("is not a folder", where=str(folder), remedy="name the folder your profiles are in")
    found, seen = Cards(folder), set[bytes]()
    for path in _listed(folder, found.invented):
        _take(path, found, seen)
    return found


def is_path(text: str) -> bool:
    """Whether somebody means a file rather than a band's name."""
    return bool(_PATH.fullmatch(text)) or Path(text).is_file()


def is_folder(text: str) -> bool:
    """Whether a folder has that name."""
    return Path(text).is_dir()


def _listed(folder: Path, invented: list[Path]) -> list[Path]:
    """Files of bands and scales, in order; what is hidden is passed over, links to folders, and a demo below."""
    found: list[Path] = []
    entries = 0
    for here, names in own_folders(folder, invented):
        entries += len(names)
        found += [here / name for name in names if _is_ours(name.lower())]
        if len(found) > MOST_FILES or entries > MOST_ENTRIES:
            what = f"holds more than {MOST_FILES if len(found) > MOST_FILES else MOST_ENTRIES} files"
            raise DataError(what, where=str(folder), remedy="name a smaller folder")
    return [path for path in found if path.is_file()]


def _is_ours(name: str) -> bool:
    if name.endswith(".csv"):
        return name.endswith(".run.csv") or bool(_LOGS.fullmatch(name) or DECISIONS.fullmatch(name))
    return name.endswith((".profile.json", ".scale.json"))


def _take(path: Path, found: Cards, seen: set[bytes]) -> None:
    name, where = path.name.lower(), str(path.relative_to(found.folder))
    folder = path.parent.relative_to(found.folder).as_posix().removeprefix(".")
    try:
        if name.endswith(".scale.json"):
            found.scales.append(path)
        elif name.endswith(".run.csv"):
            _take_run(path, found)
        elif name.endswith(".profile.json"):
            _once(path, where, seen, lambda data, said: found.cards.append(_card(data, said, path, folder)))
        elif DECISIONS.fullmatch(name):
            _once(path, where, seen, lambda data, said: found.decisions.extend(parse_decisions(data, said)))
        else:
            parse: Callable[[bytes, str], Sequence[Use | Recheck]] = (
                parse_uses if (kind := _LOGS.fullmatch(path.name)) and kind[2].lower() == "uses" else parse_rechecks
            )
            _once(path, where, seen, lambda data, said: found.logged.extend(_logged(parse(data, said), folder)))
    except BandcurveError as error:
        found.problems.append(Problem(path, path.name.partition(".")[0], str(error)))


def _logged(entries: Sequence[Use | Recheck], folder: str) -> Iterator[Logged]:
    return (Logged(folder, entry) for entry in entries)


def _once(path: Path, where: str, seen: set[bytes], take: Callable[[bytes, str], object]) -> None:
    data = read_capped(path, CAP_BYTES)
    kind = path.suffix + str(_LOGS.fullmatch(path.name) and _LOGS.sub(r"\2", path.name))
    digest = sha256(kind.encode() + data).digest()
    if digest not in seen:
        seen.add(digest)
        take(data, where)


def _take_run(path: Path, found: Cards) -> None:
    """Only its name: a band that was recorded and not fitted yet is known."""
    mark = path.name.partition(".")[0]
    if re.fullmatch(ID_PATTERN, mark):
        found.recorded.setdefault(mark.lower(), mark)


def _card(data: bytes, where: str, path: Path, folder: str) -> Card:
    try:
        document = json.loads(data.decode("utf-8-sig"))
        return _card_of(document, data, where, path, folder)
    except (ValueError, RecursionError) as error:
        if isinstance(error, DataError):
            raise
        what = "is empty" if not data.strip() else "is incomplete, or not a profile"
        raise DataError(
            what, where=where, remedy="is the folder still being copied or synced? Or fit it again"
        ) from None
    except (KeyError, TypeError, IndexError, ZeroDivisionError, AttributeError, OverflowError):
        raise DataError("is not a profile this program can read", where=where, remedy="fit it again") from None


def _card_of(document: Any, data: bytes, where: str, path: Path, folder: str) -> Card:
    _check_format(document.get("format"), where)
    band, made, loading = document["band"], document["made"], document["branches"]["loading"]
    runs = frozenset(s["sha256"] for s in made["from"] if s["sha256"] and not s["file"].endswith(".profile.json"))
    digest = sha256(data).hexdigest()
    lengths, forces = _floats(loading["length_m"]), _floats(loading["force_N"])
    middle = len(lengths) // 2
    if not lengths or len(lengths) != len(forces):
        raise DataError("has no loading branch", where=where, remedy="fit it again")
    files = [path.parent / s["file"] for s in made["from"] if str(s["file"]).endswith(".run.csv")]
    return Card(
        path=path,
        folder=folder,
        mark=str(band["id"]),
        digest=digest,
        key=derived_id(*sorted(runs)) if runs else digest[:ID_DIGITS],
        runs=runs,
        sources=len(made["from"]),
        day=str(made["measured_at"] or ""),
        started=_started(files[0]) if files else "",
        flat_length=float(band["flat_length_m"]),
        strands=int(band["strands"]),
        lengths=lengths,
        forces=forces,
        u_relative=float(loading["u_N"][middle]) / max(forces[middle], 1e-9),
        codes=frozenset(str(f["code"]) for f in document["findings"]),
    )


def _check_format(text: object, where: str) -> None:
    found = re.fullmatch(r"bandcurve-profile/([0-9]{1,4})(\.[0-9]{1,4})?", str(text))
    if found is None:
        raise DataError("is not a profile", where=where, remedy="is it the right file?")
    if int(found[1]) > 1:
        what = f"is of version {found[1]}, newer than this program reads (1)"
        raise DataError(what, where=where, remedy="install a newer bandcurve")


def _floats(values: Any) -> tuple[float, ...]:
    return tuple(float(v) for v in values)


def _started(run: Path) -> str:
    """When a run beside a profile was begun: tells two calibrations of one day in order."""
    try:
        found = _STARTED.search(read_capped(run, _HEAD_BYTES))
    except FileError:
        return ""
    return found[1].decode() if found else ""
