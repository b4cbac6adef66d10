"""`bandcurve batch fit`: runs of a batch in, a profile for every band and one record of the batch out."""

import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from hashlib import sha256
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import BandcurveError, DataError, FileError
from calib.units import Shown
from calib.verbs.plain_text import complaint
from calib.verbs.progress import Progress
from calib.verbs.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.finding import Finding
    from calib.fit.batch import Taught
    from calib.profile.batch_document import Batch
    from calib.records import Fit
    from calib.use.batch_levels import BatchMember

Failure = tuple[str, str]  # file, error
ENOUGH_FOR_A_POOL = 24  # bands: starting processes costs a second or two each
CHUNK = 8
TEACHERS, PUPILS = 24, 24  # bands of each kind that the shape and the spreads are learnt from


def command(
    sources: Annotated[list[Path], typer.Argument(metavar="FOLDER|RUN...", help="A batch folder, or its runs.")],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder for the profiles; default: the batch's.")
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", min=1, max=64, help="Processes, where there are many bands.")] = 2,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Fit the bands of a batch together.

    Bands measured at five lengths or more are fitted as by themselves and teach the shape of the curve; the others
    borrow it, with an honest, wider uncertainty. Writes ID.profile.json for every band and batch.json. A file that
    cannot be used does not stop the others.

    \b
    Examples:
      bandcurve batch fit box
      bandcurve batch fit box/*.run.csv --out profiles --json
    """
    shown = shown_in(unit)
    paths, folder = _paths(sources, out)
    groups, waiting, failed = _by_band(paths)
    with _pool(len(groups), jobs) as each:
        fitted = _fit_all(groups, folder, failed, each)
    batch = _record(fitted, failed, folder)
    if as_json:
        from calib.versioned import to_json

        print(to_json(batch), end="")
    elif fitted.done:
        _say(batch, folder, shown)
    if waiting and not as_json:
        print(f"Not measured yet: {', '.join(waiting)}.")
    for _, sentence in failed:
        print(complaint(sentence), file=sys.stderr)
    return 1 if failed else 0


def _paths(sources: Sequence[Path], out: Path | None) -> tuple[list[Path], Path]:
    """Run files, and where the results go."""
    paths: list[Path] = []
    for source in sources:
        if source.is_dir():
            found = sorted(source.glob("*.run.csv"))
            if not found:
                raise DataError("holds no run", where=str(source), remedy=f"bandcurve batch record {source}")
            paths += found
        else:
            paths.append(source)
    if out is not None:
        from calib.verbs.fit import make_folder

        make_folder(out)
    folder = out or (sources[0] if sources[0].is_dir() else Path())
    return list(dict.fromkeys(paths)), folder


Group = tuple[Path, ...]  # the runs of one band
Each = Callable[[Callable[[Any], Any], Iterable[Any]], Iterable[Any]]  # work and items to results in order


def _by_band(paths: Sequence[Path]) -> tuple[list[Group], list[str], list[Failure]]:
    """Runs of each band, bands nobody had in hand yet, and what cannot be read; of a run only its band is kept."""
    from calib.acquire.batch_plan import UNTAPED
    from calib.acquire.run_file import read_run

    bands: dict[str, list[Path]] = {}
    failed: list[Failure] = []
    waiting: list[str] = []
    for path in _told("reading", len(paths), paths):
        try:
            head = read_run(path).head
        except BandcurveError as error:
            failed.append((str(path), str(error)))
            continue
        if head.extensions.get(UNTAPED):
            waiting.append(head.band.id)
        else:
            bands.setdefault(head.band.id, []).append(path)
    return [tuple(group) for group in bands.values()], waiting, failed


@contextmanager
def _pool(bands: int, jobs: int) -> Iterator[Each]:
    """How work is done: here for a box, in some processes for many bands."""
    if bands < ENOUGH_FOR_A_POOL or jobs == 1:
        yield map
        return
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        yield lambda work, items: pool.map(work, items, chunksize=CHUNK)


def _told(doing: str, of: int, results: Iterable[Any]) -> Iterator[Any]:
    """The same, with a bar that grows."""
    bar = Progress(doing)
    for i, result in enumerate(results, 1):
        bar.tell(i / of)
        yield result
    bar.close()


@dataclass(frozen=True)
class Done:
    """One band with a profile."""

    member: "BatchMember"
    runs: tuple[str, ...]
    path: Path


@dataclass(frozen=True)
class FirstLook:
    """What the first look at a band's runs gave: a profile, or why there is none; neither where it must borrow."""

    group: Group
    done: Done | None = None
    error: str = ""


def first_look(folder: Path, group: Group) -> FirstLook:
    """Read the runs of a band; one measured in full is fitted and saved as by itself."""
    from calib.acquire.run_file import read_run
    from calib.fit.batch import band_readings
    from calib.use.batch_levels import member_of
    from calib.verbs.fit import fit_and_save

    try:
        runs = [read_run(path) for path in group]
        band = band_readings(runs)
        if not band.full:
            return FirstLook(group)
        fit, profile, path = fit_and_save(list(zip(group, runs, strict=True)), folder, None, (), set())
    except BandcurveError as error:
        return FirstLook(group, error=str(error))
    member = member_of(profile, sum(point.used for point in fit.points), band.lengths_out)
    return FirstLook(group, Done(member, tuple(p.name for p in group), path))


def second_look(taught: "Taught", folder: Path, teachers: Sequence[tuple[str, str]], look: FirstLook) -> FirstLook:
    """Judge a band against the batch: one with few readings gets its profile, an odd one is told so in its own."""
    from calib.acquire.run_file import read_run
    from calib.fit.batch import band_readings
    from calib.fit.borrowing import fit_in_batch, odd_in

    try:
        runs = [read_run(path) for path in look.group]
        band = band_readings(runs)
        if look.done is None:
            return replace(look, done=_borrowed(fit_in_batch(taught, band), look.group, folder, teachers))
        odd = odd_in(taught, band)
        return look if odd is None else replace(look, done=_marked(look.done, odd))
    except BandcurveError as error:
        return FirstLook(look.group, error=str(error))


def _borrowed(fit: "Fit", group: Group, folder: Path, teachers: Sequence[tuple[str, str]]) -> Done:
    from importlib.metadata import version

    from calib.profile.build import profile_of
    from calib.profile.document import save_profile
    from calib.use.batch_levels import member_of
    from calib.verbs.fit import place_of

    profile = profile_of(fit, f"bandcurve {version('bandcurve')}", teachers)
    path = place_of(profile, folder)
    save_profile(profile, path)
    lengths = len({round(p.length, 3) for p in fit.points if p.branch == "loading"})
    return Done(member_of(profile, sum(p.used for p in fit.points), lengths), tuple(p.name for p in group), path)


def _marked(done: Done, odd: "Finding") -> Done:
    """The band's own profile with what the batch says of it."""
    from calib.profile.document import Finding, load_profile, save_profile

    profile = load_profile(done.path)
    said = Finding(code=odd.code, text=odd.text)
    save_profile(profile.model_copy(update={"findings": (said, *profile.findings)}), done.path)
    return replace(done, member=replace(done.member, departs=odd.text))


@dataclass(frozen=True)
class Fitted:
    """The batch as far as it could be fitted."""

    done: tuple[Done, ...]
    shape_from: tuple[str, ...] = ()


def _fit_all(groups: Sequence[Group], folder: Path, failed: list[Failure], each: Each) -> Fitted:
    """Every band that can be fitted, in the order of the files; failures are added to the list."""
    looks = list(_told("fitting", len(groups), each(partial(first_look, folder), groups)))
    failed += [(_names(look.group), look.error) for look in looks if look.error]
    looks = [look for look in looks if not look.error]
    try:
        taught = _teach(looks)
    except DataError as error:
        failed += [(_names(look.group), f"{_names(look.group)}: {error}") for look in looks if look.done is None]
        return Fitted(tuple(look.done for look in looks if look.done))
    teachers = _provenance(look.done for look in looks if look.done and look.done.member.id in taught.teachers)
    again = list(_told("comparing", len(looks), each(partial(second_look, taught, folder, teachers), looks)))
    failed += [(_names(look.group), look.error) for look in again if look.error]
    return Fitted(tuple(look.done for look in again if look.done), taught.teachers)


def _teach(looks: Sequence[FirstLook]) -> "Taught":
    from calib.acquire.run_file import read_run
    from calib.fit.batch import band_readings, teach

    full = [look for look in looks if look.done][:TEACHERS]
    few = [look for look in looks if not look.done][:PUPILS]
    return teach([band_readings([read_run(path) for path in look.group]) for look in (*full, *few)], of=len(looks))


def _provenance(teachers: Iterable[Done]) -> list[tuple[str, str]]:
    """Profiles the shape came from, each with its hash."""
    return [(done.path.name, sha256(done.path.read_bytes()).hexdigest()) for done in teachers]


def _names(group: Group) -> str:
    return ", ".join(str(path) for path in group)


def _record(fitted: Fitted, failed: Sequence[Failure], folder: Path) -> "Batch":
    """The record of the batch, written beside the profiles."""
    from importlib.metadata import version

    from calib.profile.batch_document import NAME, Batch, load_batch, save_batch
    from calib.use.batch_levels import batch_document

    document = batch_document(
        [done.member for done in fitted.done],
        [(done.runs, done.path.name) for done in fitted.done],
        fitted.shape_from,
        failed,
        f"bandcurve {version('bandcurve')}",
    )
    batch = Batch.model_validate(document)
    path = folder / NAME
    if path.exists():
        known = {band.id for band in load_batch(path).bands}
        if not known <= {band.id for band in batch.bands} | {Path(f.file).name.split(".")[0] for f in batch.failed}:
            raise FileError(
                "is the record of other bands and is not overwritten",
                where=str(path),
                remedy="choose another folder with --out",
            )
    if batch.bands:
        save_batch(batch, path)
    return batch


def _say(batch: "Batch", folder: Path, shown: Shown) -> None:
    from calib.profile.batch_document import NAME
    from calib.verbs.plain_text import findings_text, table, wrap

    several = len(batch.sizes) > 1
    at = f"{shown.force} at {shown.tape(batch.length_m)} {shown.length}" if batch.length_m else shown.force
    headers = ["band", "flat mm", "readings", *(["size"] if several else []), "level", at, "+-", "shape"]
    rows = [
        [
            band.id,
            f"{1000 * band.flat_length_m:.0f}",
            str(band.readings),
            *([str(band.size)] if several else []),
            f"{100 * (band.level - 1):+.1f} %",
            shown.pull(band.force_N) if band.force_N is not None else "-",
            shown.pull(band.u95_N) if band.u95_N is not None else "-",
            ("NOT THE BATCH'S" if band.outlying else "borrowed" if band.borrowed else "own"),
        ]
        for band in batch.bands
    ]
    print(table(headers, rows))
    print()
    print(wrap(f"Level: pull at {batch.stretch:.2f} times the flat length, against the mean. +- is 95 %, half-path."))
    for number, size in enumerate(batch.sizes, 1):
        if size.spread is not None and size.u_spread is not None:
            of = f"Size {number}: bands" if several else "Bands"
            print(
                wrap(
                    f"{of} differ by {100 * size.spread:.1f} % in level (sd from band to band, u "
                    f"{100 * size.u_spread:.1f} %) and {100 * (size.flat_length_spread or 0):.1f} % in flat length."
                )
            )
    if batch.measure_more:
        print(wrap(f"Measure next: {batch.measure_more.id}; {batch.measure_more.why}."))
    if batch.findings:
        print(findings_text(batch.findings))
    count = len(batch.bands)
    print(
        wrap(
            f"Written: {count} profile{'s' * (count > 1)} and {folder / NAME}. Pairs: bandcurve pair "
            f"{folder / '*.profile.json'}"
        )
    )
