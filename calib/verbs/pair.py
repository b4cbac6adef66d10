"""`bandcurve pair`: left and right out of a box of bands."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.assumptions import SERIES, assuming
from calib.errors import UsageError
from calib.units import Shown
from calib.verbs.talk.series_talk import lead, read_series
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import FULL_HELP, give
from calib.verbs.terminal.assume_option import AssumeOption, assumed_of
from calib.verbs.terminal.band_argument import FolderOption
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in

if TYPE_CHECKING:
    from calib.acquire.files.series_file import Series, SeriesBand
    from calib.profile.store.register import KnownBand
    from calib.use.answers.bands import PairAnswer
    from calib.use.bands.lookup import Found, Lookup

NO_BANDS = (".uses.csv", ".rechecks.csv", ".scale.json", "batch.json")  # lie beside profiles, are no bands


def command(
    bands: Annotated[
        list[str] | None,
        typer.Argument(metavar="[BAND]...", help="Names or profiles of two bands or more; default: all in the folder."),
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.6m; default: all tested."),
    ] = None,
    series: Annotated[
        list[Path] | None,
        typer.Option(
            "--series", metavar="FILE", help="Two bands hooked end to end; without profiles, compared by tape alone."
        ),
    ] = None,
    assume: AssumeOption = None,
    folder: FolderOption = Path(),
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Also draw it, in a new .png, .svg or .pdf file."),
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep these pairs: they come first whenever left and right are chosen.")
    ] = False,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    full: Annotated[bool, typer.Option("--full", help=FULL_HELP)] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Make left/right pairs of bands that pull as nearly alike as possible.

    Of all pairings it picks the one whose worst pair differs least, then the one with the smallest sum;
    apart is the 95 % upper limit of the difference loading, over the working lengths. Of a band with several
    profiles the newest is taken; logs, scales and the record of a batch are passed over. A retired band is left out;
    one that has gone soft, is suspect or did not pass its re-check is paired only after the others; what the record of
    a box says of a band is gone by. Two bands that are kept together (--keep) are a pair, the first of them left.

    \b
    Examples:
      bandcurve pair profiles/*.profile.json --over 1.2m..1.6m
      bandcurve pair
      bandcurve pair B07 B08 B09 --json
      bandcurve pair B07 B08 --keep
      bandcurve pair *.profile.json --figure pairs.pdf
      bandcurve pair --series B07+B08.series.csv
      bandcurve pair --series B07+B08.series.csv --assume series_law=0.12
      bandcurve pair B07.profile.json B08.profile.json --series B07+B08.series.csv
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    if figure is not None:
        from calib.verbs.terminal.drawing import check_figure

        check_figure(figure)
    named = [name for name in bands or () if not name.endswith(NO_BANDS)]
    if not named and not series:
        named = _all_of(folder)
    read = [read_series(path) if path.exists() else lead(path) for path in series or ()]
    if not named:
        if figure is not None or keep:
            raise UsageError("--figure and --keep need profiles", remedy="give the profiles of both bands too")
        if wanted is not None:
            raise UsageError("--over needs profiles", remedy="leave it out, or give the profiles of both bands")
        with assuming(assumed_of(assume or [], SERIES)):
            return _by_tape(read, shown, as_json)
    if assume:
        raise UsageError("--assume is for bands without profiles, with --series", remedy="leave it out")
    from calib.use.bands.lookup import Lookup
    from calib.use.bands.pair import pair_answer, pair_found
    from calib.use.report.pair_views import pair_view

    lookup = Lookup(folder)
    found = lookup.find_all(named)
    read = [_as_called(one, found) for one in read]
    answer = pair_answer(pair_found(found, wanted, read))
    kept = _kept(answer, found, lookup) if keep else []
    if figure is not None:
        from calib.use.paper.answer_figures import pairs_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(figure, partial(pairs_figure, answer, shown))
    give(answer, pair_view(answer, shown), as_json=as_json, full=full)
    for left, right in kept:
        print(f"Kept: {left} left, {right} right. Back: bandcurve undo {left}", file=sys.stderr)
    return 0


def _all_of(folder: Path) -> list[str]:
    """Every band of the folder that was measured; those that share a name are left out, and that is said."""
    from calib.profile.store.register import read_register
    from calib.verbs.terminal.plain_text import complaint

    bands = [band for band in read_register(folder).bands if band.calibrations]
    shared = {band.mark: [b.address for b in bands if b.mark.lower() == band.mark.lower()] for band in bands}
    for mark, several in shared.items():
        if len(several) > 1:
            said = f"{' and '.join(several)} are left out: two bands share a name; decide with: bandcurve merge {mark}"
            print(complaint(said), file=sys.stderr)
    found = [several[0] for several in shared.values() if len(several) == 1]
    if len(found) < 2:
        what = f"there are no two measured bands in {folder} to pair"
        raise UsageError(what, remedy="name their profiles, or two bands hooked end to end, with --series")
    return found


def _as_called(series: "Series", found: "Sequence[Found]") -> "Series":
    """A series by the names its bands have now: one may have been renamed since, or bear another one's mark."""
    there = {f.profile.band.id for f in found}

    def now(band: "SeriesBand") -> "SeriesBand":
        known = [f for f in found if f.band and band.id.lower() in _marks(f.band)]
        return replace(band, id=known[0].profile.band.id) if band.id not in there and len(known) == 1 else band

    return replace(series, first=now(series.first), second=now(series.second))


def _marks(band: "KnownBand") -> set[str]:
    return {band.mark.lower(), *(old.lower() for old, _ in band.former)}


def _kept(answer: "PairAnswer", found: "Sequence[Found]", lookup: "Lookup") -> list[tuple[str, str]]:
    """Keep the pairs in the register of the folder, and say which."""
    from calib.profile.store.decide import keep_pairs

    register, paths = lookup.register(), {f.profile.band.id: f.path for f in found}
    known = [
        tuple(register.band_of_file(paths[band]) or register.band(band) for band in pair.bands) for pair in answer.pairs
    ]
    pairs = [(left, right) for left, right in known]
    keep_pairs(register, pairs)
    return [(left.address, right.address) for left, right in pairs]


def _by_tape(read: "Sequence[Series]", shown: Shown, as_json: bool) -> int:
    """The difference of two bands without any scale."""
    from calib.use.answers.bands import SeriesAnswer
    from calib.use.bands.series import by_tape, ratio_of
    from calib.use.report.pair_views import series_view

    answer = SeriesAnswer(series=tuple(by_tape(ratio_of(series)) for series in read))
    give(answer, series_view(answer, shown), as_json=as_json)
    return 0
