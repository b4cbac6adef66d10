"""`bandcurve show`: a profile or a run in plain words, with a small plot, and as a figure where asked for."""

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import BandcurveError, FileError
from calib.units import Shown
from calib.verbs.terminal.band_argument import FolderOption, band_of, say_doubts
from calib.verbs.terminal.quantities import UNIT_HELP, shown_in

if TYPE_CHECKING:
    from calib.profile.document import Profile
    from calib.profile.parts import Branch
    from calib.records import Fit, Run


def command(
    what: Annotated[
        str,
        typer.Argument(metavar="BAND|RUN", help="A band's name, a profile B07.profile.json, or a run NAME.run.csv."),
    ],
    figure: Annotated[
        Path | None, typer.Option("--figure", "-f", metavar="FILE", help="Draw it too: a new .png, .svg or .pdf.")
    ] = None,
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
    folder: FolderOption = Path(),
) -> int:
    """Show a profile or a run: table, small plot, findings, and a figure file where asked for.

    \b
    Examples:
      bandcurve show B07
      bandcurve show B07.profile.json --figure B07.pdf
      bandcurve show B07.run.csv
    """
    shown = shown_in(unit)
    if figure is not None:
        _check_figure(figure)
    if not _is_file(what):
        found = band_of(what, folder)
        done = _show_profile(found.path, figure, shown, as_json)
        say_doubts(found.findings)
        return done
    file = Path(what)
    if not _is_profile(file):
        return _show_run(file, figure, as_json)
    done = _show_profile(file, figure, shown, as_json)
    say_doubts(band_of(what).findings)
    return done


def _is_file(what: str) -> bool:
    from calib.profile.store.cards import is_path

    return is_path(what)


def _check_figure(path: Path) -> None:
    """Say at once what would fail after the work."""
    from calib.verbs.terminal.drawing import figure_kind

    figure_kind(path)
    if path.exists():
        raise FileError("is there already and is not overwritten", where=str(path), remedy="choose another name")


def _is_profile(path: Path) -> bool:
    """By the name, and where that says nothing by the first sign in the file."""
    if path.suffix.lower() in (".json", ".csv"):
        return path.suffix.lower() == ".json"
    from calib.strict_json import read_capped

    try:
        return read_capped(path, 200).removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")
    except FileError:
        return False  # the reader of runs says what is wrong with it


def _show_profile(path: Path, figure: Path | None, shown: Shown, as_json: bool) -> int:
    from calib.profile.document import load_profile

    profile = load_profile(path)
    if figure is not None:
        from calib.verbs.terminal.drawing import points_behind, write_figure

        points = points_behind(profile, path)
        write_figure(profile, points or (), figure)
        if points is None:
            _talk("The runs behind this profile were not found beside it, so the figure shows the curve alone.")
        _talk(f"Figure written to {figure}.")
    if as_json:
        _print_json({**_profile_json(path, profile), "figure": figure and str(figure)})
    else:
        print(_profile_words(profile, shown))
    return 0


def _profile_words(profile: "Profile", shown: Shown) -> str:
    from calib.verbs.terminal.drawing import profile_plot
    from calib.verbs.terminal.plain_text import columns, findings_text, heading
    from calib.verbs.terminal.profile_text import budget_text, curve_text, facts_text

    parts = (
        heading(f"Band {profile.band.id}") + "\n" + facts_text(profile),
        curve_text(profile, shown),
        profile_plot(profile, min(columns(), 80)),
        findings_text(profile.findings),
        budget_text(profile, shown),
    )
    return "\n\n".join(parts)


def _profile_json(path: Path, profile: "Profile") -> dict[str, Any]:
    from calib.verbs.terminal.profile_text import table_lengths

    rest = profile.band.rest_half_path_m
    return {
        "kind": "profile",
        "file": str(path),
        "id": profile.band.id,
        "rest_half_path_m": rest,
        "table": [
            {
                "length_m": round(x, 6),
                "stretch": round(x / rest, 6),
                "loading": _at(profile, profile.branches.loading, x),
                "unloading": _at(profile, profile.branches.unloading, x),
            }
            for x in table_lengths(profile)
        ],
        "budget": [line.model_dump() for line in profile.budget],
        "findings": [{"code": f.code, "text": f.text} for f in profile.findings],
    }


def _at(profile: "Profile", branch: "Branch | None", length: float) -> dict[str, float] | None:
    from calib.profile.table import estimate, holds

    if branch is None or not holds(branch, length):
        return None
    at = estimate(branch, length)
    values = {"force_N": at.force, "u_N": at.u, "u95_N": at.u95, "u95_next_set_N": profile.u95_next(at)}
    return {name: float(f"{value:.7g}") for name, value in values.items()}


def _show_run(path: Path, figure: Path | None, as_json: bool) -> int:
    from calib.acquire.files.run_file import read_run

    run = read_run(path)
    fit, refusal = _fitted(run)
    if figure is not None:
        if fit is None:
            raise refusal or FileError("cannot be fitted", where=str(path))
        from calib.profile.build import profile_of
        from calib.verbs.overview import version_text
        from calib.verbs.terminal.drawing import write_figure

        write_figure(profile_of(fit, version_text().strip()), fit.points, figure)
        _talk(f"Figure written to {figure}.")
    if as_json:
        _print_json({**_run_json(path, run, fit, refusal), "figure": figure and str(figure)})
    else:
        print(_run_words(path, run, fit, refusal))
    return 0


def _fitted(run: "Run") -> tuple["Fit | None", BandcurveError | None]:
    """The fit of a run, or why there is none: a run may be shown before it is whole."""
    from calib.fit.curve.estimate import fit_runs

    try:
        return fit_runs([run]), None
    except BandcurveError as error:
        return None, error


def _run_words(path: Path, run: "Run", fit: "Fit | None", refusal: BandcurveError | None) -> str:
    from calib.verbs.terminal.drawing import run_plot
    from calib.verbs.terminal.plain_text import columns, findings_text, wrap
    from calib.verbs.terminal.run_text import head_text, rows_text

    parts = [head_text(run), rows_text(run), run_plot(run, min(columns(), 80))]
    if fit is None:
        parts += [findings_text(run.findings), wrap(f"It cannot be fitted yet: {refusal}.")]
    else:
        parts += [findings_text(fit.findings), f"Next:\n  bandcurve fit {path}"]
    return "\n\n".join(part for part in parts if part)


def _run_json(path: Path, run: "Run", fit: "Fit | None", refusal: BandcurveError | None) -> dict[str, Any]:
    findings = run.findings if fit is None else fit.findings
    return {
        "kind": "run",
        "file": str(path),
        "id": run.head.band.id,
        "method": run.head.procedure.method,
        "flat_length_m": run.head.band.flat_length,
        "rows": [
            {
                "row": r.number, "kind": r.kind, "cycle": r.cycle, "branch": r.branch, "length_m": r.length,
                "force_N": r.force, "mass_kg": r.mass, "note": r.note, "struck": run.struck.get(r.number),
            }
            for r in run.rows
        ],
        "findings": [{"code": f.code, "text": f.text} for f in findings],
        "not_fitted": None if refusal is None else str(refusal),
    }  # fmt: skip


def _print_json(document: dict[str, Any]) -> None:
    print(json.dumps(document, indent=2, allow_nan=False))


def _talk(sentence: str) -> None:
    print(sentence, file=sys.stderr)
