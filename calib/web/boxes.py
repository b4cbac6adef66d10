"""The page's walk through a box of bands: which is next, how it is warmed up, on to its readings."""

from pathlib import Path
from typing import TYPE_CHECKING, cast
from urllib.parse import quote

from starlette.responses import RedirectResponse, Response

from calib.acquire.files.typed import parse_length, parse_mass
from calib.acquire.recording.batch_plan import UNTAPED, BandToMeasure, next_band, seconds_left
from calib.errors import BandcurveError, DataError
from calib.profile.batch_document import NAME, load_batch
from calib.stamp import here_and_now
from calib.use.answers.next_steps import next_step
from calib.use.ask.box_band import FAR_FROM_OTHERS, in_hand, warm_up_words
from calib.use.ask.cautions import CAUTIONS
from calib.use.ask.gear import gear_of
from calib.use.bands.box_folder import OF_A_BOX, bands_to_measure, boxes
from calib.use.bands.triage import TriageVerdict, by_word
from calib.use.report.drawings import drawing
from calib.use.report.layout import sentence
from calib.web.pages import Asked, Site

if TYPE_CHECKING:
    from calib.use.bands.triage import Word


def box_list(site: Site, asked: Asked) -> Response:
    """All boxes of the folder, one laid out by hand too."""
    return site.render(asked, "boxes.html", names=sorted({**boxes(site.folder), **boxes(site.folder, OF_A_BOX)}))


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
        raise DataError("there is no box of bands here", remedy="lay one out")
    return folder, found, said


def _show(site: Site, asked: Asked, chosen: str, typed: dict[str, str], wrong: str = "") -> Response:
    name = asked.request.path_params["name"]
    folder, bands, said = _bands(site, name)
    verdicts, after = _verdicts(folder)
    band = next((b for b in bands if b.id == chosen), None) or next_band(bands)
    head = band.run.head if band else None
    return site.render(
        asked,
        "box.html",
        422 if wrong else 200,
        name=name,
        said=said,
        verdicts=verdicts,
        next=after,
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


def _verdicts(folder: Path) -> tuple[list[tuple[str, str, list[str]]], list[str]]:
    """What to do with each band, as the record of the box has it, and what it says of all; nothing before the fit."""
    if not (folder / NAME).is_file():
        return [], []
    try:
        batch = load_batch(folder / NAME)
    except BandcurveError as error:
        return [], [sentence(str(error))]
    told = [TriageVerdict(cast("Word", band.verdict or "alone"), band.why or "") for band in batch.bands]
    more = [f"Measure next: {batch.measure_more.id}; {batch.measure_more.why}."] if batch.measure_more else []
    found = [sentence(f"{f.text}. {next_step(f.code)}") for f in batch.findings]
    failed = [sentence(one.error.replace(f"{folder}/", "")) for one in batch.failed]
    return [(w, sentence(why) if why else "", ids) for w, why, ids in by_word([b.id for b in batch.bands], told)], [
        *more, *found, *failed
    ]  # fmt: skip


def curves(site: Site, asked: Asked) -> Response:
    """Fit the bands of a box together, as far as they are measured; then the box with what to do with each."""
    from calib.use.box.batch_work import look, not_seen, sorted_runs
    from calib.use.box.fitting import check_record, fit_all, here, record

    name = asked.request.path_params["name"]
    folder, _, _ = _bands(site, name)
    paths = sorted(p for p in folder.glob("*.run.csv") if p.is_file())
    seen = tuple(here("", look, paths, not_seen))
    check_record(folder, seen, len)
    fitted = fit_all(sorted_runs(seen), folder, here)
    batch = record(fitted, folder)
    if not batch.bands:
        why = batch.failed[0].error if batch.failed else "no band was measured yet"
        raise DataError(why, where=name, remedy="measure one in full first")
    return RedirectResponse(f"/box/{quote(name)}", 303)


def _run_name(site: Site, folder: Path, band: BandToMeasure) -> str:
    """A band's run, as recordings are called on the page."""
    return (folder / band.run.name).relative_to(site.folder).as_posix().removesuffix(".run.csv")


def begin_band(site: Site, asked: Asked) -> Response:
    """A band was warmed up and taped: its head is put on the disk, and its readings begin."""
    fields = asked.fields
    folder, bands, _ = _bands(site, asked.request.path_params["name"])
    band = next((b for b in bands if b.id == fields.get("band")), None)
    if band is None or not band.run.head.extensions.get(UNTAPED):
        raise DataError("that band is already started, or not in this box", remedy="choose one from the list")
    if fields.get("careful") != "yes":
        return _show(site, asked, band.id, fields, "Please read the cautions and tick the box.")
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
