"""`bandcurve demo`: an invented scenario in a new folder, fitted and drawn, with what to do next."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import FileError, UsageError, printable
from calib.profile.store.own_files import MARK
from calib.units import SHOWN
from calib.use.answers.bands import DemoAnswer, FittedBand
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.answer import give
from calib.verbs.terminal.plain_text import wrap

if TYPE_CHECKING:
    from calib.profile.document import Profile

NOTES = "README.md"


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new or empty folder.")] = Path("bandcurve-demo"),
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Fit and draw an invented example in a new folder: three bands, two scales, one typing slip.

    \b
    Examples:
      bandcurve demo
      bandcurve demo my-first-look
    """
    if Path().resolve().is_relative_to(folder.resolve()):
        what = f"{folder} is where you are, and your own bands would lie among invented ones"
        raise UsageError(what, remedy="name a new folder")
    from calib.safe_write import new_folder

    source = sample_folder()
    _refuse_taken(folder, source)
    with new_folder(folder):
        runs = [_copy(path, folder) for path in sorted(source.glob("*.run.csv"))]
        for name in (MARK, NOTES):
            _copy(source / name, folder)
    if not as_json:
        print("Three invented bands, to show how it works. Nobody measured them.")
    fitted = []
    for path in runs:
        print(f"fitting and drawing {path.name} ...", file=sys.stderr)
        fitted.append(_demo_band(path, folder, quiet=as_json))
    if as_json:
        give(DemoAnswer(folder=str(folder), profiles=tuple(fitted)), None, as_json=True)
    else:
        _next_steps(folder)
    return 0


def sample_folder() -> Path:
    """Where the invented runs are: inside an installed package, or beside it in a source tree.

    Raises:
        FileError: They are in neither place.
    """
    package = Path(__file__).parents[1]
    for place in (package / "_sample_runs", package.parent / "sample_runs"):
        if place.is_dir():
            return place
    raise FileError("the sample runs are missing from this installation", remedy="install bandcurve again")


def _refuse_taken(folder: Path, source: Path) -> None:
    """A folder with something in it is left alone, but for what an interrupted demo left."""
    from calib.errors import file_error

    try:
        if folder.exists() and not (folder.is_dir() and _is_unfinished(folder, source)):
            raise FileError("is there already and not empty", where=str(folder), remedy="name a new folder")
    except FileError:
        raise
    except OSError as error:
        raise file_error(error, folder, "written") from error


def _is_unfinished(folder: Path, source: Path) -> bool:
    """Whether a folder holds nothing but a part of what the demo writes, its copies as they were made."""
    copies = [*source.glob("*.run.csv"), source / NOTES, source / MARK]
    made = {path.name.replace(".run.csv", end) for path in copies[:-2] for end in (".profile.json", ".png")}
    there = {path.name for path in folder.iterdir() if not path.name.startswith(".")}
    unchanged = all((folder / c.name).read_bytes() == c.read_bytes() for c in copies if c.name in there)
    return there < made | {c.name for c in copies} and unchanged


def _copy(path: Path, folder: Path) -> Path:
    from calib.safe_write import write_new

    target = folder / path.name
    if not target.exists():
        write_new(target, path.read_bytes())
    return target


def _demo_band(path: Path, folder: Path, *, quiet: bool) -> FittedBand:
    """Fit one run, save its profile and figure, say the main things."""
    from calib.acquire.files.run_file import read_run
    from calib.fit.curve.estimate import fit_runs
    from calib.profile.build import profile_of
    from calib.profile.document import save_profile
    from calib.use.bands.curve_answer import fitted_band
    from calib.verbs.overview import version_text
    from calib.verbs.terminal.drawing import write_figure

    fit = fit_runs([read_run(path)])
    profile = profile_of(fit, version_text().strip())
    save_profile(profile, folder / f"{profile.band.id}.profile.json")
    if not (figure := folder / f"{profile.band.id}.png").exists():
        write_figure(profile, fit.points, figure)
    if not quiet:
        _say(profile)
    file = str(folder / f"{profile.band.id}.profile.json")
    return fitted_band(profile, file, sum(p.used for p in fit.points))


def _say(profile: "Profile") -> None:
    from calib.use.bands.curve_answer import curve_answer, table_lengths
    from calib.use.report.curve_views import curve_view

    answer = curve_answer(profile, table_lengths(profile))
    said = f"; warnings: {', '.join(codes)}" if (codes := [f.code for f in profile.findings]) else ""
    print(wrap(curve_view(answer, SHOWN["kg"]).kilos + said, None, "  ", "    "))


def _next_steps(folder: Path) -> None:
    print(wrap(f"Runs, profiles and a figure of each are in {printable(folder.resolve())}."))
    print("It is marked as invented: no answer about your own bands counts it. Next:")
    for what, how in (
        ("look at the figures", f"{printable(folder / 'KNEE.png')}, LONG.png, THIN.png"),
        ("read a profile", f"bandcurve show {printable(folder / 'KNEE.profile.json')}"),
        ("ask for a pull", ""),
        ("", f"bandcurve predict {printable(folder / 'KNEE.profile.json')} --length 1.6m"),
        ("see the slip in row 20", f"bandcurve show {printable(folder / 'KNEE.run.csv')}"),
        ("strike it", f"{printable(folder / NOTES)} says how"),
    ):
        print(f"  {what:<22}  {how}".rstrip() if what else f"      {how}")
