"""The page's walk through a box of bands: which is next, how it is warmed up, on to its readings."""

from pathlib import Path

from starlette.responses import RedirectResponse, Response

from calib.acquire.files.typed import parse_length, parse_mass
from calib.acquire.recording.batch_plan import UNTAPED, BandToMeasure, next_band, seconds_left
from calib.errors import BandcurveError, DataError
from calib.stamp import here_and_now
from calib.use.ask.box_band import FAR_FROM_OTHERS, in_hand, warm_up_words
from calib.use.ask.cautions import CAUTIONS
from calib.use.ask.gear import gear_of
from calib.use.bands.box_folder import bands_to_measure, boxes
from calib.use.report.drawings import drawing
from calib.use.report.layout import sentence
from calib.web.pages import Asked, Site


def box_list(site: Site, asked: Asked) -> Response:
    """Boxes in which a band is still to be measured."""
    return site.render(asked, "boxes.html", names=list(boxes(site.folder)))


def box(site: Site, asked: Asked) -> Response:
    """One box: its bands, and the one that is next or was chosen."""
    return _show(site, asked, asked.request.query_params.get("band", ""), {})


def _bands(site: Site, name: str) -> tuple[Path, list[BandToMeasure], tuple[str, ...]]:
    try:
        folder = (site.folder / name).resolve()
        here = folder.is_relative_to(site.folder) and folder.is_dir()
    except (OSError, ValueError):  # too long, or with a byte that no name holds
        here = False
    if not here:
        raise DataError(f"there is no box {name[:60]!r} here", remedy="choose one from the list")
    found, said = bands_to_measure(folder)
    if not found:
        raise DataError("no band of a box is here", remedy="make one at the computer: bandcurve batch new")
    return folder, found, said


def _show(site: Site, asked: Asked, chosen: str, typed: dict[str, str], wrong: str = "") -> Response:
    name = asked.request.path_params["name"]
    folder, bands, said = _bands(site, name)
    band = next((b for b in bands if b.id == chosen), None) or next_band(bands)
    head = band.run.head if band else None
    return site.render(
        asked,
        "box.html",
        422 if wrong else 200,
        name=name,
        said=said,
        bands=[(b.id, b.state, "in full" if b.full else "three lengths") for b in bands],
        done=sum(b.state == "done" for b in bands),
        minutes=max(1, round(seconds_left(bands) / 60)),
        band=band,
        begun=_run_name(site, folder, band) if band and not band.run.head.extensions.get(UNTAPED) else "",
        unit=gear_of(head).units.length if head else "",
        nominal=gear_of(head).length_text(head.band.flat_length) if head else "",
        warm_up=warm_up_words(head) if head else "",
        cautions=CAUTIONS,
        clear=drawing("stand-clear"),
        typed={**dict.fromkeys(("flat", "mass"), ""), **typed},
        wrong=wrong,
    )


def _run_name(site: Site, folder: Path, band: BandToMeasure) -> str:
    """A band's run, as recordings are called on the page."""
    return (folder / band.run.name).relative_to(site.folder).as_posix().removesuffix(".run.csv")


def begin_band(site: Site, asked: Asked) -> Response:
    """A band was warmed up and taped: its head is put on the disk, and its readings begin."""
    fields = asked.fields
    folder, bands, _ = _bands(site, asked.request.path_params["name"])
    band = next((b for b in bands if b.id == fields.get("band")), None)
    if band is None or not band.run.head.extensions.get(UNTAPED):
        raise DataError("that band was begun already, or is not of this box", remedy="choose one from the list")
    if fields.get("careful") != "yes":
        return _show(site, asked, band.id, fields, "The cautions were not acknowledged; read them, and tick the box.")
    head = band.run.head
    try:
        flat = round(parse_length(fields.get("flat", ""), gear_of(head).units.length), 6)
        mass = round(parse_mass(fields["mass"], "g"), 6) if fields.get("mass", "").strip() else None
        if abs(flat / head.band.flat_length - 1) > FAR_FROM_OTHERS and fields.get("sure") != "yes":
            nominal = gear_of(head).length_text(head.band.flat_length)
            raise DataError(f"the others are said to be {nominal} long", remedy="correct it, or tick that it is right")
        made = in_hand(head, flat, mass, here_and_now())
    except BandcurveError as error:
        return _show(site, asked, band.id, fields, sentence(str(error)))
    name = _run_name(site, folder, band)
    with site.bench.sitting(name) as sitting:
        sitting.begin_again(made)
    return RedirectResponse(f"/measure/{name}", 303)
