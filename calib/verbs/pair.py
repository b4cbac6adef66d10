"""`bandcurve pair`: left and right out of a box of bands."""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import UsageError
from calib.units import Shown
from calib.verbs.talk.series_talk import lead, read_series
from calib.verbs.terminal.band_argument import FolderOption
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in

if TYPE_CHECKING:
    from calib.acquire.files.series_file import Series
    from calib.use.bands.pair import Pairing

NO_BANDS = (".uses.csv", ".rechecks.csv", ".scale.json", "batch.json")  # lie beside profiles, are no bands


def command(
    bands: Annotated[
        list[str] | None, typer.Argument(metavar="[BAND]...", help="Names or profiles of two bands or more.")
    ] = None,
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.8m; default: all tested."),
    ] = None,
    series: Annotated[
        list[Path] | None,
        typer.Option(
            "--series", metavar="FILE", help="Two of the bands hooked end to end; without profiles: by tape alone."
        ),
    ] = None,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Make left and right pairs of bands that pull as nearly alike as can be.

    Of all ways to pair them the one is taken whose worst pair is the least apart, then the one with the least sum;
    apart is the 95 % upper limit of the difference on the way out over the working lengths. Of a band with several
    profiles the newest is taken; logs, scales and the record of a batch are passed over. A retired band is left out;
    one that has gone soft, is suspect or did not pass its re-check is paired only after the others.

    \b
    Examples:
      bandcurve pair profiles/*.profile.json --over 1.2m..1.8m
      bandcurve pair B07 B08 B09 --json
      bandcurve pair --series B07+B08.series.csv
      bandcurve pair B07.profile.json B08.profile.json --series B07+B08.series.csv
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    named = [name for name in bands or () if not name.endswith(NO_BANDS)]
    if not named and not series:
        raise UsageError("name the profiles of the bands", remedy="or two bands hooked end to end, with --series")
    read = [read_series(path) if path.exists() else lead(path) for path in series or ()]
    if not named:
        if wanted is not None:
            raise UsageError("--over needs profiles", remedy="leave it out, or give the profiles of both bands")
        return _by_tape(read, shown, as_json)
    from calib.use.bands.lookup import Lookup
    from calib.use.bands.pair import pair_found, pairing_json

    pairing = pair_found(Lookup(folder).find_all(named), wanted, read)
    if as_json:
        print(json.dumps(pairing_json(pairing), indent=2))
    else:
        _say(pairing, shown)
    return 0


def _by_tape(read: "Sequence[Series]", shown: Shown, as_json: bool) -> int:
    """The difference of two bands without any scale."""
    from calib.use.bands.series import ratio_json, ratio_of
    from calib.use.bands.shared_lengths import NORMAL_95
    from calib.verbs.terminal.plain_text import wrap

    found = [ratio_of(series) for series in read]
    if as_json:
        print(json.dumps({"series": [ratio_json(ratio) for ratio in found]}, indent=2))
        return 0
    for ratio in found:
        first, second = ratio.bands
        percent, at = 100 * ratio.relative, f"{shown.tape(ratio.length)} {shown.length}"
        more, limit = "more" if percent > 0 else "less", 100 * NORMAL_95 * ratio.u
        sure = "" if ratio.distinguishable else " Which is the stronger cannot be told."
        said = f"{first} pulls {abs(percent):.1f} % {more} than {second} at the same length, about {at} (half-path)"
        print(wrap(f"{said}, give or take {limit:.1f} % (95 %).{sure}"))
    print(wrap("By tape alone; how one pull differs from another is assumed (0.6 % and 1.5 mm a band). Repeat it."))
    return 0


def _say(pairing: "Pairing", shown: Shown) -> None:
    from calib.verbs.terminal.plain_text import findings_text, table, wrap

    first, last = (shown.tape(x) for x in pairing.over)
    print(wrap(f"Pairs for half-path lengths from {first} to {last} {shown.length}, on the way out, nearest first:"))
    rows = [
        [
            " + ".join(pair.bands),
            f"{shown.pull(pair.upper95)} {shown.force}",
            f"{shown.pull(abs(pair.largest))} {shown.force}",
            f"{shown.tape(pair.at)} {shown.length}",
            f"{100 * pair.upper95 / pair.pull:.1f} %",
            pair.bands[0 if pair.largest > 0 else 1] if pair.distinguishable else "cannot be told",
        ]
        for pair in pairing.pairs
    ]
    print(table(["pair", "no more apart than", "seen", "there", "of mean pull", "stronger"], rows, "  "))
    for band in pairing.left_over:
        print(wrap(f"Left over: {band}. The number is odd; measure one more band to find it a partner."))
    print()
    print(
        wrap(
            '"No more apart than" is a 95 % upper limit for the bands\' own curves at the same length; what both were '
            "measured with cancels in it. One set may differ more. Pull is of both legs of a loop."
        )
    )
    if pairing.findings:
        print()
        print(findings_text(pairing.findings))
