"""`bandcurve compare`: the same band on two days."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import DataError, UsageError
from calib.units import Shown
from calib.verbs.talk.series_talk import ENDING, read_series
from calib.verbs.terminal.band_argument import FolderOption, say_doubts
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in

if TYPE_CHECKING:
    from calib.use.bands.compare import Comparison

ROWS = 5  # lengths in the table


def command(
    old: Annotated[
        str,
        typer.Argument(metavar="BAND|OLD", help="A band's name; or its earlier profile, or a series with a reference."),
    ],
    new: Annotated[str | None, typer.Argument(metavar="[NEW]", help="The later profile or series.")] = None,
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.8m; default: all tested."),
    ] = None,
    folder: FolderOption = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Say whether a band has changed between two calibrations; of a name alone between its first and its newest.

    The average pull on the way out over the working lengths decides: its ratio new to old with a 95 % interval.

    \b
    Examples:
      bandcurve compare B07
      bandcurve compare B07.profile.json B07.2027-03-05.profile.json
      bandcurve compare B07.profile.json B07.2027-03-05.profile.json --over 1.2m..1.8m --json
      bandcurve compare B07+REF.2026.series.csv B07+REF.2027.series.csv
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    endings = {name.endswith(ENDING) for name in (old, new or old)}
    if True in endings:
        if new is None:
            raise UsageError("one series does not compare", remedy="give an earlier and a later one")
        if endings == {True, False}:
            raise UsageError("a series and a profile do not compare", remedy="give two profiles, or two series")
        return _by_tape(Path(old), Path(new), shown, as_json)
    from calib.use.bands.compare import compare, comparison_json
    from calib.use.bands.lookup import find, first_and_newest

    was, now = first_and_newest(old, folder) if new is None else (find(old, folder), find(new, folder))
    if was.profile == now.profile or was.is_same_calibration(now):
        what = f"{was.path.name} and {now.path.name} are one calibration"
        raise DataError(what, remedy="give an earlier and a later one")
    found = compare(was.profile, now.profile, wanted)
    if as_json:
        print(json.dumps(comparison_json(found), indent=2))
    else:
        _say(found, shown)
    say_doubts(f for f in now.findings if f.code not in ("older-profile", "outlying-band"))
    return 0


def _by_tape(old: Path, new: Path, shown: Shown, as_json: bool) -> int:
    """One band against a reference kept in a drawer, on two days, without any scale."""
    from calib.use.bands.series import change_of, ratio_json
    from calib.use.bands.shared_lengths import NORMAL_95
    from calib.verbs.terminal.plain_text import wrap

    found = change_of(read_series(old), read_series(new))
    if as_json:
        document = ratio_json(found)
        document |= {"level_ratio": 1 + document.pop("relative_difference")}
        document |= {"u_level_ratio": document.pop("u_relative_difference"), "changed": document.pop("distinguishable")}
        print(json.dumps(document, indent=2))
        return 0
    percent, limit = 100 * found.relative, 100 * NORMAL_95 * found.u
    verdict = "It has changed" if found.distinguishable else "That is no change that can be told from chance"
    print(
        wrap(
            f"Band {found.bands[0]} against {found.bands[1]}, about {shown.tape(found.length)} {shown.length} "
            f"(half-path): pulls {abs(percent):.1f} % {'more' if percent > 0 else 'less'} than before, give or take "
            f"{limit:.1f} %. {verdict}, if {found.bands[1]} has kept as it was."
        )
    )
    return 0


def _say(found: "Comparison", shown: Shown) -> None:
    from calib.verbs.terminal.plain_text import findings_text, table, wrap

    for line in (_verdict(found, shown), _doubt(found), _rest(found)):
        print(wrap(line))
    print()
    print(table(["branch", shown.length, f"new - old, {shown.force}", "+-", "E_n"], _rows(found, shown), "  "))
    print(wrap("E_n is the difference over its 95 % limits: above 1 in size, that point by itself lies outside them."))
    print()
    print(findings_text(found.findings))


def _verdict(found: "Comparison", shown: Shown) -> str:
    percent, limit = 100 * (found.level_ratio - 1), 100 * found.k * found.u_level_ratio
    later = "the same day" if found.days == 0 else f"{found.days} day{'s' * (found.days != 1)} later"
    days = "after a time not noted" if found.days is None else later
    first, last = (shown.tape(x) for x in found.over)
    where = f"from {first} to {last} {shown.length} (half-path, way out)"
    pulls = f"Band {found.band}, {days}: pulls {abs(percent):.1f} % {'more' if percent > 0 else 'less'} than before"
    if found.changed:
        changed = "It has changed: chance and gear do not explain it. Use the new profile, and pair it anew."
        return f"{pulls}, give or take {limit:.1f} %, {where}. {changed}"
    return f"{pulls}, give or take {limit:.1f} %, {where}. That is no change that can be told from chance and gear."


def _doubt(found: "Comparison") -> str:
    largest = [(kind, u) for kind, u in found.shares.items() if u >= 0.0005][:3]
    from_what = ", ".join(f"{kind} {100 * u:.1f} %" for kind, u in largest)
    plate = f" Known plate {found.plate} was weighed both times and used." if found.plate else ""
    return (
        f"A change of {100 * found.smallest:.1f} % or more would be seen 19 times in 20. The doubt comes from "
        f"{from_what} (each k = 1).{plate}"
    )


def _rest(found: "Comparison") -> str:
    longer = found.flat_length
    said = f"Flat length {1000 * longer.value:+.0f} mm, give or take {2000 * longer.u:.0f} mm."
    if found.loss_ratio is not None:
        loss = found.loss_ratio
        said += (
            f" Loss (of the energy put in) {100 * loss.value:+.1f} percentage points, give or take {200 * loss.u:.1f}."
        )
    return said


def _rows(found: "Comparison", shown: Shown) -> list[list[str]]:
    rows = []
    for branch, words in (("loading", "way out"), ("unloading", "way back")):
        points = [p for p in found.points if p.branch == branch]
        step = max(1, (len(points) - 1) // (ROWS - 1))
        for p in points[::step]:
            rows.append(
                [
                    words,
                    shown.tape(p.length),
                    shown.pull(p.difference),
                    shown.pull(p.half_width),
                    f"{p.e_n + 0.0:.2f}".replace("-0.00", "0.00"),
                ]
            )
    return rows
