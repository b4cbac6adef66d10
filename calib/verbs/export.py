"""`bandcurve export`: a profile's curve as a plain table."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import UsageError
from calib.verbs.terminal.band_argument import BandArgument, FolderOption, band_of, say_doubts


def command(
    band: BandArgument,
    as_csv: Annotated[bool, typer.Option("--csv", help="A table with commas, one row a length.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="Write it to a new file instead of printing it.")
    ] = None,
    folder: FolderOption = Path(),
) -> int:
    """Write a profile's curve as a plain table: branch, length_m, force_N, u_N, u95_N.

    \b
    Examples:
      bandcurve export B07 --csv > B07.csv
      bandcurve export B07.profile.json --csv --out B07.csv
    """
    if not as_csv:
        raise UsageError("say which table to make", remedy="add --csv")
    from calib.profile.exports import curve_csv
    from calib.safe_write import write_new

    found = band_of(band, folder)
    text = curve_csv(found.profile)
    if out is None:
        sys.stdout.write(text)
    else:
        write_new(out, text)
        print(f"Written to {out}.", file=sys.stderr)
    say_doubts(found.findings)
    return 0
