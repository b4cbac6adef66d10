"""`bandcurve batch fit`: runs of a batch in, a profile for every band and one record of the batch out."""

import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import DataError
from calib.safe_write import new_folder
from calib.units import Shown
from calib.use.box.fitting import check_record, fit_all, record
from calib.use.report.layout import sentence
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.many import workers
from calib.verbs.terminal.plain_text import complaint, findings_text, table, wrap
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.batch_document import Batch
    from calib.use.bands.batch_levels import BatchMember


def command(
    sources: Annotated[list[Path], typer.Argument(metavar="FOLDER|RUN...", help="A batch folder, or its runs.")],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="Folder for the profiles; default: the batch's.")
    ] = None,
    figure: Annotated[
        Path | None,
        typer.Option("--figure", "-f", metavar="FILE", help="Also draw the levels, in a new .png, .svg or .pdf file."),
    ] = None,
    jobs: Annotated[int, typer.Option("--jobs", min=1, max=64, help="Parallel processes, for many bands.")] = 2,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of text.")] = False,
) -> int:
    """Fit the bands of a batch together.

    Bands measured at five lengths or more are fitted on their own and give the shape of the curve; the others
    borrow it, with an honest, wider uncertainty. Writes ID.profile.json for every band and batch.json. A file that
    cannot be used does not stop the others.

    \b
    Examples:
      bandcurve batch fit box
      bandcurve batch fit box --figure box.pdf
      bandcurve batch fit box/*.run.csv --out profiles --json
    """
    shown = shown_in(unit)
    if figure is not None:
        from calib.verbs.terminal.drawing import check_figure

        check_figure(figure)
    paths, folder = _paths(sources, out)
    with new_folder(folder), workers(len(paths), jobs) as each:
        from calib.use.box.batch_work import look, not_seen, sorted_runs

        seen = tuple(each("reading", look, paths, not_seen))
        check_record(folder, seen, _complain)
        found = sorted_runs(seen)
        fitted = fit_all(found, folder, each)
    batch = record(fitted, folder)
    if figure is not None and batch.bands:
        from calib.use.paper.answer_figures import batch_figure
        from calib.verbs.terminal.drawing import save_figure

        save_figure(figure, partial(batch_figure, batch))
    if as_json:
        from calib.versioned import to_json

        print(to_json(batch), end="")
    elif fitted.done:
        _say(batch, folder, shown)
        _say_what_to_do(batch, [done.member for done in fitted.done])
    if found.waiting and not as_json:
        print(f"Not measured yet: {', '.join(found.waiting)}.")
    why = (("of bands that were measured again since", found.earlier), ("held by another file too", found.copies))
    for words, left in why:
        if left and not as_json:
            print(wrap(f"Set aside, {words}: {', '.join(str(path) for path in left)}."))
    for _, why_not in fitted.failed:
        print(complaint(why_not), file=sys.stderr)
    return 1 if fitted.failed else 0


def _complain(said: str) -> None:
    print(complaint(said), file=sys.stderr)


def _paths(sources: Sequence[Path], out: Path | None) -> tuple[list[Path], Path]:
    """Run files, and where the results go."""
    paths: list[Path] = []
    for source in sources:
        if source.is_dir():
            found = sorted(p for p in source.glob("*.run.csv") if not p.is_fifo())  # a pipe is waited for without end
            if not found:
                raise DataError("holds no run", where=str(source), remedy=f"bandcurve batch record {source}")
            paths += found
        else:
            paths.append(source)
    folder = out or (sources[0] if sources[0].is_dir() else Path())
    return list(dict.fromkeys(paths)), folder


def _say(batch: "Batch", folder: Path, shown: Shown) -> None:
    from calib.profile.batch_document import NAME

    print(_levels(batch, shown))
    print()
    print(wrap(f"Level: pull at {batch.stretch:.2f} times the flat length, against the mean. +- is 95 %, half-path."))
    for number, size in enumerate(batch.sizes, 1):
        if size.spread is not None and size.u_spread is not None:
            of = f"Size {number}: bands" if len(batch.sizes) > 1 else "Bands"
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


def _levels(batch: "Batch", shown: Shown) -> str:
    """The bands' table."""
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
    return table(headers, rows)


def _say_what_to_do(batch: "Batch", members: "Sequence[BatchMember]") -> None:
    """The verdicts, and what the runs themselves say with what to do about it."""
    from calib.use.answers.next_steps import next_step
    from calib.use.bands.triage import TriageVerdict, by_word, said_of_runs

    told = [TriageVerdict(band.verdict or "alone", band.why or "") for band in batch.bands]  # type: ignore[arg-type]
    print("\nWhat to do with each:")
    for word, why, bands in by_word([band.id for band in batch.bands], told):
        print(wrap(f"{word}: {', '.join(bands)}{f' ({why})' if why else ''}", None, "  ", "    "))
    said = said_of_runs(members)
    if said:
        print("What their runs say:")
    for finding, bands in said:
        named = "all" if len(bands) == len(members) > 1 else ", ".join(bands)
        first = f"{named}: {sentence(finding.text + (' (the first of them)' if len(bands) > 1 else ''))}"
        print(wrap(f"{first} {next_step(finding.code)} [{finding.code}]".replace("  ", " "), None, "  - ", "    "))
