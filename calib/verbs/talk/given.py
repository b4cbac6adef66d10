"""What the options of a recording said, and which of them cannot be read. Nothing is asked here."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib.acquire.files.typed import listed, parse_length, parse_mass
from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError, UsageError
from calib.records import Method

if TYPE_CHECKING:
    from calib.scale import Scale

METHODS: tuple[Method, ...] = ("scale-in-line", "hung-weight", "anchor-on-scale")


@dataclass(frozen=True)
class Given:
    """What the options said; None is asked for."""

    band: str = ""  # empty: asked for
    quick: bool = False
    method: Method | None = None
    scale: "Scale | None" = None
    lengths: str | None = None
    loads: str | None = None
    holes: str | None = None
    first_hole: int = 0
    flat: str | None = None
    top: str | None = None
    cycles: int | None = None
    dwell_s: float | None = None
    form: bool = False  # typed in from paper: done already, so no cautions, no conditioning
    over_stretch: bool = False
    until: dict[str, Any] | None = None  # readings chosen one by one until this is reached
    force_unit: str | None = None  # of the line of a load cell
    cell: dict[str, str | bool] | None = (
        None  # what a run keeps of a load cell on a line; None where readings are typed
    )


def check_options(given: Given) -> None:
    """Refuse a length or load that cannot be read, before anything is asked.

    Raises:
        UsageError: One of them cannot be read.
    """
    _readable("--flat", [given.flat])
    _readable("--to", [given.top])
    _readable("--holes", [given.holes])
    _readable("--lengths", [None] if given.lengths is None else listed(given.lengths) or [given.lengths])
    _readable("--loads", [None] if given.loads is None else listed(given.loads) or [given.loads])


def _readable(option: str, parts: Sequence[str | None]) -> None:
    for part in parts:
        if part is None:
            continue
        try:
            parse_mass(part, "kg") if option == "--loads" else parse_length(part, "mm")
        except DataError as error:
            raise UsageError(f"{option} {clean(part)[:40]!r}: {error.what}", remedy=error.remedy) from error


def way(text: str | None) -> Method | None:
    """The way to measure that `--method` names; None where it was not given.

    Raises:
        UsageError: It names none.
    """
    if text is None:
        return None
    found = next((method for method in METHODS if method == text), None)
    if found is None:
        raise UsageError(f"--method {text[:40]!r} is not known", remedy=f"use one of {', '.join(METHODS)}")
    return found
