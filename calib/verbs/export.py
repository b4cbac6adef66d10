"""`bandcurve export`: a profile's curve as a plain table."""

import sys
from pathlib import Path
from typing import Annotated

from calib.errors import UsageError, printable
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.band_argument import BandArgument, FolderOption, say_doubts
from calib.verbs.terminal.given_profile import STANDARD, given_profile


def command(
    band: BandArgument,
    as_csv: Annotated[
        bool, typer.Option("--csv", help="A comma-separated table, one row for each length (the default).")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="Write it to a new file; - is standard output (the default)."),
    ] = None,
    folder: FolderOption = Path(),
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON document: the curve with both limits.")
    ] = False,
) -> int:
    """Write a profile's curve as a plain table, with the limits of the mean and of the next set.

    Columns: branch, length_m (half-path), tape_m, force_N, u_N, u95_mean_N, u95_next_set_N.

    \b
    Examples:
      bandcurve export B07 > B07.csv
      bandcurve export B07.profile.json --out B07.csv
    """
    if as_csv and as_json:
        raise UsageError("--csv and --json exclude each other", remedy="give only one of them")
    if as_json and out not in (None, Path(STANDARD)):
        raise UsageError("--out writes a comma-separated table", remedy="give --csv, or send --json to a file with >")
    profile, path, findings = given_profile(band, folder)
    if as_json:
        from calib.use.bands.curve_answer import curve_answer
        from calib.verbs.terminal.answer import give

        lengths = profile.branches.loading.length_m
        give(curve_answer(profile, lengths, file=str(path), beside=findings), None, as_json=True)
        return 0
    from calib.profile.exports import curve_csv
    from calib.safe_write import write_new

    text = curve_csv(profile)
    if out is None or out == Path(STANDARD):
        sys.stdout.write(text)
    else:
        write_new(out, text)
        print(f"Written to {printable(out)}.", file=sys.stderr)
    say_doubts(findings)
    return 0
