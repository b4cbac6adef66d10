"""Series of two bands for the commands that take them: files read, and a new one led at the terminal, row by row."""

from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import DataError, FileError, UsageError
from calib.use.bands.calibrate import SERIES

if TYPE_CHECKING:
    from calib.acquire.files.series_file import Series
    from calib.profile.document import Profile

AGAIN = "again"  # typed after the bands were unhooked: the next pull


def read_series(path: Path) -> "Series":
    """Read one file."""
    from calib.acquire.files.series_file import CAP_BYTES, parse_series
    from calib.safe_read import read_capped

    return parse_series(read_capped(path, CAP_BYTES), path.name)


def told_by(series: Sequence[Path], others: Sequence[Path]) -> "Callable[[Profile], Profile] | None":
    """What makes a fitted profile more certain by series of its band; None where there are none.

    Args:
        series: Files of series.
        others: Profiles of the other bands in them.
    """
    if not series and not others:
        return None
    if not series or not others:
        raise UsageError(
            "--series and --with must be used together", remedy="give the series and the other band's profile"
        )
    from hashlib import sha256

    from calib.profile.document import load_profile

    read, loaded = [read_series(p) for p in series], [load_profile(p) for p in others]
    files = [(p.name, sha256(p.read_bytes()).hexdigest()) for p in others]

    def with_series(profile: "Profile") -> "Profile":
        from calib.use.bands.series_profile import tightened

        mine = [s for s in read if profile.band.id in s.bands]
        if not mine:
            raise DataError(f"none of the series is of {profile.band.id}", remedy="fit the runs of its bands only")
        return tightened(profile, [p for p in loaded if p.band.id != profile.band.id], mine, files)

    return with_series


def lead(path: Path) -> "Series":
    """Ask for a series at the terminal and write it, each row as soon as it is typed.

    Args:
        path: A new file, A+B.series.csv.

    Raises:
        FileError: Nobody is there to ask.
    """
    from calib.acquire.files.series_file import CAP_BYTES, parse_series
    from calib.safe_read import read_capped
    from calib.safe_write import write_atomically, write_new
    from calib.verbs.terminal.prompts import EndOfInputError, at_terminal, prepare, say

    if not path.name.endswith(SERIES):
        raise UsageError(f"--series {path.name[:60]!r} does not end in {SERIES}", remedy=f"name it A+B{SERIES}")
    if not at_terminal():
        raise FileError(
            "there is no such file", where=str(path), remedy="at a terminal you are asked for it, row by row"
        )
    prepare()
    number, cycle = 0, 1
    try:
        before = _ask_head(path.name.removesuffix(SERIES).split("+")).encode()
        say(
            "Look both bands over. Hook them end to end between two fixed points, with a link that cannot open.",
            "Keep your eyes out of their line; nobody and nothing behind either end.",
            "Approach each total length from the slack side, wait ten seconds, and read where the centre "
            "of the link is.",
            "After three lengths unhook, hook them again, type 'again', and take the same lengths once more.",
        )
        while (row := _ask_row(path, before, number + 1, cycle)) is not None:
            if row == AGAIN:
                cycle += 1
                say(f"  Pull {cycle}, hooked again.")
                continue
            number += 1
            before = before + row.encode()
            write_new(path, before) if number == 1 else write_atomically(path, before)
    except (EndOfInputError, KeyboardInterrupt) as stopped:
        if number == 0 and isinstance(stopped, EndOfInputError):
            raise FileError(
                "no reading was typed, nothing was written", where=str(path), remedy="start again"
            ) from stopped
        kept = f"{path} holds {number} reading{'s' * (number > 1)}" if number else "nothing was written"
        say("", f"Stopped; {kept}.")
        if isinstance(stopped, KeyboardInterrupt):
            raise
    return parse_series(read_capped(path, CAP_BYTES), path.name)


def _ask_head(names: Sequence[str]) -> str:
    """The head of a new file.

    Args:
        names: Of the bands, as the file is called; where these are not two they are asked for.
    """
    names = names if len(names) == 2 else ("", "")
    lines = ['format = "bandcurve-series/1"', f"started = {datetime.now().astimezone().isoformat(timespec='seconds')}"]
    places = ("first band, at the end the tape starts from", "second band")
    for name, words, known in zip(("first", "second"), places, names, strict=True):
        lines += [
            f"[{name}]",
            f'id = "{_ask_name(words, known)}"',
            f"flat_length_mm = {_ask_mm('  its flat length, mm: '):g}",
            f"thickness_mm = {_ask_mm('  its thickness, mm: '):g}",
            f"fitting_diameter_mm = {_ask_mm('  diameter of the pin at its outer end, mm: '):g}",
        ]
    lines += [
        "[length]",
        'kind = "band-inner"',
        f"link_length_mm = {_ask_mm('Link between them, inner length from band to band, mm: '):g}",
        f"link_diameter_mm = {_ask_mm('  diameter of its rod, mm: '):g}",
    ]
    return "".join(f"# {line}\n" for line in lines) + "row,kind,cycle,branch,total_mm,ring_mm,note\n"


def _ask_name(words: str, known: str) -> str:
    from calib.identity import check_id
    from calib.verbs.terminal.prompts import ask

    return ask(f"Name of the {words}{f' [{known}]' if known else ''}: ", lambda text: check_id(text or known))


def _ask_mm(prompt: str) -> float:
    from calib.acquire.files.typed import parse_length
    from calib.verbs.terminal.prompts import ask

    return 1000 * ask(prompt, lambda text: parse_length(text, "mm"))


def _ask_row(path: Path, before: bytes, number: int, cycle: int) -> str | None:
    """One row that can be used; None when there are no more, `AGAIN` where the bands were hooked again."""
    from calib.acquire.files.series_file import parse_series
    from calib.acquire.files.typed import parse_length
    from calib.use.bands.series import ratio_of
    from calib.verbs.terminal.prompts import ask, say

    head = before[: before.index(b"row,kind")]
    columns = before[len(head) :].split(b"\n")[0] + b"\n"

    def length(text: str) -> float | None:
        return None if text.lower() == AGAIN and number > 1 else parse_length(text, "mm") if text else 0.0

    while True:
        total = ask("Total from end to end, mm (Enter: done): ", length)
        if total is None:
            return AGAIN
        if total == 0 and number > 1:
            return None
        if total == 0:
            say("  Take one reading at least.")
            continue
        ring = 0.001 * _ask_mm("  centre of the link from the first end, mm: ")
        if not 0 < ring < total:
            say("  The link must be between the two ends; type both lengths again.")
            continue
        row = f"{number},reading,{cycle},loading,{1000 * total:g},{1000 * ring:g},\n"
        try:
            parse_series(before + row.encode(), path.name)
            alone = ratio_of(parse_series(head + columns + row.encode(), path.name))
        except DataError as error:
            say(f"  {error.what}; type both lengths again.")
            continue
        more = "more" if alone.relative > 0 else "less"
        say(f"  From this one, {alone.bands[0]} pulls {100 * abs(alone.relative):.1f} % {more} than {alone.bands[1]}.")
        return row
