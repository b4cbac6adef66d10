"""How answers about a folder's memory look: a band's history, what is due, a re-check with one plate."""

from dataclasses import replace

from calib.units import Shown
from calib.use.answers.bands import DriftRate, HistoryAnswer, ListAnswer, ListedBand, RecheckAnswer
from calib.use.answers.parts import Doubt, Level
from calib.use.report.layout import clean
from calib.use.report.view import (
    Grid,
    Section,
    View,
    both_loads,
    length,
    on_the_tape,
    other_units,
    over_the_tape,
    pull_in_both,
)

MOST_DAYS = 3  # of a history, the first one among them
MOST_BANDS = 5  # of a list, those that are due first
EVERYTHING = "--full"
INSPECT = "Before every use look the band over; nick, crack, sticky patch: throw it away."
RULES = (
    "A split layer or a chalky patch counts too, whatever the numbers say. A curve says how a band pulls, not whether "
    "it is safe; the rules of your place and the people qualified there come first."
)
OF_THE_BAND = (  # findings of a band as a whole; those of its calibration are said where it is shown
    *("band-retired", "band-suspect", "band-softened", "recheck-failed"),
    *("one-day-apart", "several-folders", "register-differs"),
)
_PLATE = {True: "plate, pass", False: "plate, NOT PASSED", None: "plate, out of range"}


def history_view(answer: HistoryAnswer, shown: Shown, *, full: bool = False) -> View:
    """How a band has drifted and when to look again.

    Args:
        answer: Its history.
        shown: Units for people.
        full: Every day.
    """
    rows = _days(answer, shown)
    kept = rows if full or len(rows) <= MOST_DAYS else [rows[0], *rows[1 - MOST_DAYS :]]
    headers = ("day", "by", "level", "+-", f"flat {shown.length}", "loss", "reps")
    where = over_the_tape(answer.over_m, answer.half_path_less_tape_m, shown)
    note = f"Level: average pull, loading, over {where}, to the first day's."
    drifts = tuple(
        f"Level {_rate(words, rate)}{_sure(rate)}."
        for words, rate in (("month", answer.drift_per_month), ("1000 repetitions", answer.drift_per_1000_reps))
        if rate is not None
    )
    return View(
        kilos=f"{answer.band}: {_pull_now(answer, shown)}",
        grid=Grid(headers, tuple(kept)),
        lines=(*_left_out(len(rows) - len(kept), "day"), *drifts, _next_look(answer), INSPECT),
        findings=answer.findings,
        sections=(Section("notes", "", None, (note, RULES)),),
    )


def _pull_now(answer: HistoryAnswer, shown: Shown) -> str:
    level = answer.calibrations[-1].level
    where = on_the_tape(answer.length_m, answer.tape_m, shown)
    pull = f"{pull_in_both(answer.loading.force_N, shown)} at {where}, loading"
    if len(answer.calibrations) == 1:
        return pull
    return f"{pull}; {100 * level.level_ratio:.1f} % of its first level, {_within(level)}"


def _within(level: Level) -> str:
    return f"+- {100 * level.u95_mean_level_ratio:.1f} %"


def _days(answer: HistoryAnswer, shown: Shown) -> list[tuple[str, ...]]:
    """Calibrations and re-checks by their day."""
    rows = [
        (
            d.day or "not noted",
            "calibration",
            f"{100 * d.level.level_ratio:.1f} %",
            "first" if i == 0 else _within(d.level).removeprefix("+- "),
            shown.tape(d.flat_length_m),
            "" if d.loss_ratio is None else f"{100 * d.loss_ratio:.1f} %",
            f"{d.reps}",
        )
        for i, d in enumerate(answer.calibrations)
    ]
    for p in answer.rechecks:
        level = "" if p.level is None else f"{100 * p.level.level_ratio:.1f} %"
        limit = "" if p.level is None else _within(p.level).removeprefix("+- ")
        rows.append((p.day, _PLATE[p.passed], level, limit, "", "", f"{p.reps}"))
    return sorted(rows, key=lambda row: "" if row[0] == "not noted" else row[0])


def _left_out(count: int, what: str) -> tuple[str, ...]:
    return (f"  and {count} more {what}{'s' * (count != 1)}: {EVERYTHING}",) if count else ()


def _rate(words: str, rate: DriftRate) -> str:
    return f"{100 * rate.relative:+.2f} +- {100 * rate.u95_mean_relative:.2f} % for each {words}"


def _sure(rate: DriftRate) -> str:
    return "" if abs(rate.relative) > rate.u95_mean_relative else "; no more than chance"


def _next_look(answer: HistoryAnswer) -> str:
    logged = f"{answer.reps_since} since the last look"
    if answer.failed_recheck is not None:
        again = f"Measure it in full before it is used in a pair again: bandcurve record {answer.band}"
        return f"It did not pass the re-check of {answer.failed_recheck}. {again}"
    if answer.look_again is None:
        return f"The last calibration has no day, so none can be named for the next ({logged})."
    return f"Look again by {answer.look_again} or within {answer.reps_left} repetitions ({logged})."


def list_view(answer: ListAnswer, shown: Shown, *, full: bool = False) -> View:
    """What a folder holds and what is due.

    Args:
        answer: The folder.
        shown: Units for people.
        full: Every band by its name; else the first few, those that are due before the others.
    """
    if not answer.bands and not answer.scales:
        if answer.failed:
            return View(f"Nothing in {answer.folder} can be used: {len(answer.failed)} files cannot be read.")
        nothing = f"Nothing in {answer.folder} yet. Start with bandcurve record, or name another folder."
        return View(nothing, lines=_demo(answer))
    due_first = sorted(answer.bands, key=lambda b: not b.due)  # the sort keeps the names' order otherwise
    kept = answer.bands if full or len(due_first) <= MOST_BANDS else due_first[:MOST_BANDS]
    headers = (
        "band",
        "measured",
        "re-check",
        f"{shown.force} at 2 x",
        other_units(shown).force,
        "reps since",
        "look again",
    )
    note = '"At 2 x": the pull, loading, at twice the rest length.'
    scales = tuple((s.scale, s.kind, s.checked_on or "never", "now" if s.due else "-") for s in answer.scales)
    table = Section("scales", "Scales", Grid(("scale", "kind", "checked", "check again"), scales))
    return View(
        kilos=_due(answer),
        grid=Grid(headers, tuple(_listed(b, shown) for b in kept)) if kept else None,
        lines=(
            *_left_out(len(due_first) - len(kept), "band"),
            *_demo(answer),
            *(
                f"{b.band} stands for two bands by their flat lengths: bandcurve rename FILE NEW-NAME."
                for b in kept
                if b.two_bands
            ),
        ),
        findings=_of_bands(answer),
        sections=(Section("note", "", None, (note,)), *((table,) if scales else ())),
    )


def _demo(answer: ListAnswer) -> tuple[str, ...]:
    invented = [b.band for b in answer.bands if any(f.code == "invented-data" for f in b.findings)]
    here = (f"Invented, never measured: {', '.join(invented)}.",) if invented else ()
    if not answer.left_out:
        return here
    return (
        *here,
        f"The invented bands in {' and '.join(clean(f) for f in answer.left_out)} are not counted.",
    )


def _due(answer: ListAnswer) -> str:
    """How many there are, and whose turn it is."""
    held = ((len(answer.bands), "band"), (len(answer.scales), "scale"))
    counts = " and ".join(f"{count} {word}{'s' * (count != 1)}" for count, word in held if count)
    turns = (
        ("measure", [b.band for b in answer.bands if b.due]),
        ("check", [s.scale for s in answer.scales if s.due]),
    )
    due = ", ".join(f"{verb} {_some(names)}" for verb, names in turns if names)
    return f"{counts}; {f'now due: {due}' if due else 'none is due'}"


def _some(names: list[str], most: int = 3) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _listed(band: ListedBand, shown: Shown) -> tuple[str, ...]:
    plate = {True: "", False: " failed", None: " ?"}
    pull = band.loading.force_N if band.loading else None
    return (
        band.band,
        band.day or "-",
        f"{band.rechecked}{plate[band.recheck_passed]}" if band.rechecked else "-",
        "-" if pull is None else shown.pull(pull, 1),
        "-" if pull is None else other_units(shown).pull(pull, 1),
        f"{band.reps_since}",
        "retired" if band.status == "retired" else "now" if band.due else band.look_again or "-",
    )


def _of_bands(answer: ListAnswer) -> tuple[Doubt, ...]:
    """What is to be done about each band, by its name; that it is retired its row says."""
    return tuple(
        replace(f, do="" if f.code == "band-retired" else f"{b.band}: {f.do}")
        for b in answer.bands
        for f in b.findings
        if f.code in OF_THE_BAND
    )


def recheck_view(answer: RecheckAnswer, shown: Shown) -> View:
    """Whether a band is as it was measured."""
    level, tape = answer.level, tape_units(shown)
    percent, limit = 100 * (level.level_ratio - 1), 100 * (level.u95_next_set_level_ratio or 0.0)
    pulls = f"pulls {abs(percent):.1f} +- {limit:.1f} % {'more' if percent > 0 else 'less'} than when measured"
    expected = f"expected {tape.tape(answer.expected_tape_m)} +- {tape.tape(answer.u95_next_set_tape_m)} {tape.length}"
    seen = (
        f"One plate shows a change of {100 * answer.smallest_change:.1f} % or more 19 times in 20, not a smaller one."
    )
    again = "Check it again; the last reading of a day counts. If it does not change, measure the band in full:"
    return View(
        kilos=f"{'PASS' if answer.passed else 'NOT PASSED'}: {answer.band} {pulls}",
        lines=(
            f"{both_loads(answer.mass_kg, shown)} hung at {length(answer.shown_tape_m, tape)} on the tape, {expected}. "
            f"Measured {answer.day or 'on an unknown date'}.",
            seen if answer.passed else again,
            *(() if answer.passed else (f"  bandcurve record {answer.band}",)),
        ),
    )


def tape_units(shown: Shown) -> Shown:
    """Lengths as a tape shows them: millimetres instead of metres."""
    return replace(shown, length="mm", metre=0.001, digits=0) if shown.length == "m" else shown
