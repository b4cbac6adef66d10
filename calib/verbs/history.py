"""`bandcurve history`: all calibrations of one band, and when to look again."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.units import Shown
from calib.verbs.terminal.plain_text import complaint
from calib.verbs.terminal.quantities import UNIT_HELP, range_in_si, shown_in

if TYPE_CHECKING:
    from calib.use.bands.history import Drift, History

INSPECT = (
    "Before every use look the whole band over. A nick, a crack, a split layer, a sticky or chalky patch: throw it "
    "away, whatever the numbers say. A curve says how a band pulls, not whether it is safe; the rules of your place "
    "and the people qualified there come first."
)


def command(
    band: Annotated[str, typer.Argument(metavar="ID", help="The band, for example B07.")],
    over: Annotated[
        str | None,
        typer.Option(metavar="A..B", help="Working half-path lengths, for example 1.2m..1.8m; default: all tested."),
    ] = None,
    folder: Annotated[Path, typer.Option("--folder", metavar="DIR", help="Where the files are.")] = Path(),
    unit: Annotated[str, typer.Option(metavar="UNIT", help=UNIT_HELP)] = "kg",
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document instead of words.")] = False,
) -> int:
    """Say how a band has drifted since it was first measured, with time and with use.

    Calibrations (ID...profile.json), re-checks (ID.rechecks.csv) and the use log (ID.uses.csv) are looked for in the
    folder and below.

    \b
    Examples:
      bandcurve history B07
      bandcurve history B07 --folder profiles --over 1.2m..1.8m --json
    """
    shown = shown_in(unit)
    wanted = range_in_si(over, "--over") if over is not None else None
    from calib.profile.store.collection import read_collection
    from calib.use.bands.history import history, history_answer

    collection = read_collection(folder)
    found = collection.band(band)
    made = history(found.calibrations(), found.uses, wanted, found.rechecks)
    if as_json:
        from calib.verbs.terminal.answer import give

        give(history_answer(made, found.calibrations()), None, as_json=True)
    else:
        _say(made, shown)
    missing = collection.failed_of(found)
    for said in missing:
        print(complaint(f"left out, {said}"), file=sys.stderr)
    return 1 if missing else 0


def _say(made: "History", shown: Shown) -> None:
    from calib.use.bands.history import RETIRE
    from calib.verbs.terminal.plain_text import table, wrap

    first, last = (shown.tape(x) for x in made.over)
    print(f"Band {made.band}, half-path lengths {first} to {last} {shown.length}, on the way out")
    print(table(["day", "by", "level", "+-", f"flat {shown.length}", "loss", "reps"], _rows(made, shown), "  "))
    for words, drift in (("month", made.per_month), ("1000 repetitions", made.per_thousand)):
        if drift is not None:
            print(wrap(_drift(words, drift)))
    print(wrap(_next(made)))
    lost = 1 - made.days[-1].level_ratio
    if lost > RETIRE:
        print(
            wrap(f"It has lost {100 * lost:.0f} % of its first level: retire it, or give it other work and a new pair.")
        )
    print()
    print(wrap(INSPECT))


def _rows(made: "History", shown: Shown) -> list[list[str]]:
    """Calibrations and re-checks by their day."""
    from calib.use.bands.shared_lengths import NORMAL_95

    rows = [
        [
            d.on.isoformat() if d.on else "not noted",
            "calibration",
            f"{100 * d.level_ratio:.1f} %",
            "first" if i == 0 else f"{100 * NORMAL_95 * d.u_level_ratio:.1f} %",
            shown.tape(d.flat_length),
            "" if d.loss_ratio is None else f"{100 * d.loss_ratio:.1f} %",
            f"{d.reps}",
        ]
        for i, d in enumerate(made.days)
    ]
    said = {True: "plate, pass", False: "plate, NOT PASSED", None: "plate, out of range"}
    for p in made.plates:
        level = "" if p.level_ratio is None else f"{100 * p.level_ratio:.1f} %"
        limit = "" if p.u_level_ratio is None else f"{100 * NORMAL_95 * p.u_level_ratio:.1f} %"
        rows.append([p.on.isoformat(), said[p.passed], level, limit, "", "", f"{p.reps}"])
    return sorted(rows, key=lambda row: "" if row[0] == "not noted" else row[0])


def _drift(words: str, drift: "Drift") -> str:
    from calib.use.bands.shared_lengths import NORMAL_95

    limit = NORMAL_95 * drift.u
    sure = "" if abs(drift.value) > limit else "; that cannot be told from none"
    return f"Level {100 * drift.value:+.2f} % for each {words}, give or take {100 * limit:.2f} %{sure}."


def _next(made: "History") -> str:
    if made.failed is not None:
        again = f"Measure the band in full before it is used in a pair again: bandcurve record {made.band}"
        return f"It did not pass the re-check of {made.failed}. {again}"
    logged = f"{made.reps_since} repetitions are logged since it was last looked at"
    if made.look_again is None:
        return f"The last calibration has no day, so none can be named for the next. {logged}."
    return f"Look again by {made.look_again} or within {made.reps_left} repetitions, whichever comes first ({logged})."
