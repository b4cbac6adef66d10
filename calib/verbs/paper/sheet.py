"""`bandcurve sheet`: a band or a rig on one page for the wall."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast
from urllib.parse import quote

from calib.errors import DataError, UsageError, printable
from calib.units import Shown
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.band_argument import FolderOption
from calib.verbs.terminal.quantities import UNIT_HELP, paper_size, shown_in

if TYPE_CHECKING:
    from calib.profile.batch_document import Batch
    from calib.units import Unit
    from calib.use.paper.wall_page import Kind
    from calib.use.report.sheet import Paper

KINDS = ("pdf", "png", "html")  # as in calib.use.paper.wall_page, which is slow to load


def command(
    what: Annotated[
        str,
        typer.Argument(metavar="BAND|RIG|BOX", help="A band's name, its profile, a rig NAME.rig.toml, a box's folder."),
    ],
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="A new .pdf, .png or .html; default: NAME-wall.pdf."),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="SIZE", help="a4 or letter.")] = "a4",
    link: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Address of your bandcurve page, so that the code on the sheet opens it there."
        ),
    ] = "",
    lifters: Annotated[
        str | None, typer.Option(metavar="LIST", help='For a rig: "Ana 92cm 138cm, Bo 1.0m 1.5m", or a table.')
    ] = None,
    labels: Annotated[
        bool, typer.Option("--labels", help="For a band or a box: labels that say what each band pulls.")
    ] = False,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
) -> int:
    """Put a band, a rig or a box of bands on one page for the wall: large numbers in both units, and cautions.

    The code in the corner says which file it is; with --link it opens the band or rig on your page.

    \b
    Examples:
      bandcurve sheet B07
      bandcurve sheet squat.rig.toml --out squat.png --paper letter --unit lb
      bandcurve sheet squat.rig.toml --lifters "Ana 92cm 138cm, Bo 1.0m 1.5m"
      bandcurve sheet box --out box.pdf
      bandcurve sheet box --labels --out labels.pdf
      bandcurve sheet B07 --link http://192.168.1.20:8080
    """
    shown = shown_in(unit)
    size = paper_size(paper)
    is_rig = what.lower().endswith(".toml")
    is_box = _is_box(what)
    name = Path(what).name.removesuffix(".toml").removesuffix(".rig") if is_rig else what
    end = "labels" if labels else "wall"
    target = out or Path(f"{Path(name).resolve().name.removesuffix('.json').removesuffix('.profile')}-{end}.pdf")
    kind = target.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise UsageError(f"--out {target.name}: not a kind of sheet", remedy="end its name in .pdf, .png or .html")
    from calib.safe_write import write_new

    how = (cast("Kind", kind), size, shown)
    if lifters is not None:
        if not is_rig:
            raise UsageError("--lifters is for a rig", remedy="name a rig, NAME.rig.toml")
        made = _lifters(Path(what), name, lifters, link, *how)
    elif labels:
        if is_rig:
            raise UsageError("--labels is for bands", remedy="name a band or the folder of a box")
        made = _labels(what, folder, link, *how, is_box=is_box)
    elif is_box:
        made = _box(Path(what), link, *how)
    else:
        made = _rig(Path(what), name, link, *how) if is_rig else _band(what, folder, link, *how)
    write_new(target, made)
    print(f"Sheet written to {printable(target)}.")
    return 0


def _band(what: str, folder: Path, link: str, kind: "Kind", paper: "Paper", shown: Shown) -> bytes:
    from calib.use.bands.curve_answer import curve_answer
    from calib.use.paper.band_sheet import band_sheet, sheet_lengths
    from calib.verbs.terminal.given_profile import given_profile

    profile, path, beside = given_profile(what, folder)
    answer = curve_answer(profile, sheet_lengths(profile, shown), file=str(path), beside=beside)
    leads_to = f"{link.rstrip('/')}/band/{quote(profile.band.id)}" if link else Path(path).name
    return band_sheet(profile, answer, leads_to, kind, paper, shown)


def _is_box(what: str) -> bool:
    """Whether it is a folder of bands, or the record of a box in one."""
    from calib.profile.batch_document import NAME

    return Path(what).is_dir() or Path(what).name == NAME


def _record(what: Path) -> "tuple[Batch, Path]":
    from calib.profile.batch_document import NAME, load_batch

    folder = what if what.is_dir() else what.parent
    if not (folder / NAME).is_file():
        raise DataError("holds no record of a box", where=str(folder), remedy="bandcurve batch fit makes one")
    return load_batch(folder / NAME), folder


def _too_many(count: int, most: int, what: str) -> None:
    if count > most:
        raise UsageError(f"{count} {what} do not fit on a page", remedy=f"give at most {most} at a time")


def _box(what: Path, link: str, kind: "Kind", paper: "Paper", shown: Shown) -> bytes:
    from calib.errors import BandcurveError
    from calib.use.bands.lookup import Lookup
    from calib.use.bands.pair import pair_answer, pair_found
    from calib.use.paper.box_sheet import MOST, box_sheet

    batch, folder = _record(what)
    _too_many(len(batch.bands), MOST, "bands")
    try:
        pairs = pair_answer(pair_found(Lookup(folder).find_all([folder / band.profile for band in batch.bands])))
    except BandcurveError:
        pairs = None  # the page says what to do with each band
    name = folder.resolve().name
    leads_to = f"{link.rstrip('/')}/" if link else f"{name}/batch.json"
    return box_sheet(batch, pairs, name, leads_to, kind, paper, shown)


def _labels(what: str, folder: Path, link: str, kind: "Kind", paper: "Paper", shown: Shown, *, is_box: bool) -> bytes:
    from calib.profile.document import load_profile
    from calib.use.paper.label_sheet import MOST, label_sheet
    from calib.verbs.terminal.given_profile import given_profile

    if is_box:
        batch, where = _record(Path(what))
        _too_many(len(batch.bands), MOST, "labels")
        profiles = [load_profile(where / band.profile) for band in batch.bands]
    else:
        profiles = [given_profile(what, folder)[0]]
    links = [f"{link.rstrip('/')}/band/{quote(p.band.id)}" for p in profiles] if link else []
    return label_sheet(profiles, kind, paper, shown, links)


def _rig(file: Path, name: str, link: str, kind: "Kind", paper: "Paper", shown: Shown) -> bytes:
    from calib.use.paper.rig_sheet import rig_sheet
    from calib.use.report.solve_views import hold_text
    from calib.use.rig.rig_answers import check_number, refuse_flying, rig_answer
    from calib.use.rig.rig_files import read_rig, worked_out
    from calib.use.rig.rig_hold import hold_number

    force = _unit(shown)
    answer, profiles = worked_out(file, extrapolate=False, unit=force)
    refuse_flying(answer, force)
    number = hold_text(check_number(hold_number(read_rig(file), profiles)), shown)
    leads_to = f"{link.rstrip('/')}/rig/{quote(name)}" if link else file.name
    return rig_sheet(rig_answer(answer, profiles), name, number, leads_to, kind, paper, shown)


def _lifters(file: Path, name: str, text: str, link: str, kind: "Kind", paper: "Paper", shown: Shown) -> bytes:
    from calib.use.paper.lifters_sheet import MOST, lifters_sheet
    from calib.use.rig.lifters import under_rig
    from calib.use.rig.rig_answers import lifters_answer
    from calib.use.rig.rig_files import named, read_profiles, read_rig
    from calib.verbs.rig.rig_show import lifters_given

    people, force = lifters_given(text), _unit(shown)
    _too_many(len(people), MOST, "lifters")
    rig = read_rig(file)
    profiles = read_profiles(rig, file)
    with named(file):
        found = under_rig(rig, profiles, people, extrapolate=False, unit=force)
    leads_to = f"{link.rstrip('/')}/rig/{quote(name)}" if link else file.name
    return lifters_sheet(lifters_answer(found, profiles, force), name, leads_to, kind, paper, shown)


def _unit(shown: Shown) -> "Unit":
    return "lb" if shown.force == "lb" else "kg"
