"""How answers about one band's curve look: predict, its inverse, show, fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.units import Shown
from calib.use.report.layout import clean
from calib.use.report.view import (
    LIMITS,
    UNKNOWN_TAPE,
    Grid,
    Section,
    View,
    length,
    on_the_tape,
    other_units,
    pull_cells,
    pull_headers,
    pull_in_both,
    pulls_in_words,
)

if TYPE_CHECKING:
    from calib.use.answers.bands import (
        CurveAnswer,
        CurveRow,
        FittedBand,
        LengthAnswer,
        PullAnswer,
        RunAnswer,
    )
    from calib.use.answers.parts import PlaceOnTape, Pull

NEGLIGIBLE = 0.02  # share of the variance below which sources are told together
MOST_ROWS = 5  # lengths on the short screen
METHODS = {
    "scale-in-line": "scale in line",
    "hung-weight": "hung weights",
    "anchor-on-scale": "anchor on a scale",
}


def pull_view(answer: PullAnswer, shown: Shown) -> View:
    """What a band pulls at a length."""
    where = on_the_tape(answer.length_m, answer.tape_m, shown)
    rows = tuple((way, *pull_cells(pull, shown)) for way, pull in _ways(answer.loading, answer.unloading))
    also = "" if answer.tape_m is None else f"Half-path length there: {length(answer.length_m, shown)}. "
    guess = "EXTRAPOLATED: nobody measured this length. The pull is a guess; its limits widen with the distance."
    return View(
        kilos=f"{_guessed(answer)}{answer.band} at {where}: {pulls_in_words(answer.loading, answer.unloading, shown)}",
        grid=Grid(("", *pull_headers(shown)), rows),
        lines=(
            f"{also}Stretch {answer.stretch:.2f}. {_measured(answer.day)}",
            LIMITS,
            *((UNKNOWN_TAPE,) if answer.tape_kind is None else ()),
            *((guess,) if answer.extrapolated else ()),
        ),
        findings=answer.findings,
        sections=(_newtons(answer),),
    )


def _guessed(answer: PullAnswer) -> str:
    return "A guess: " if answer.extrapolated else ""


def length_view(answer: LengthAnswer, shown: Shown) -> View:
    """At which length a band reaches a pull."""
    ways = [(way, place) for way, place in (("loading", answer.loading), ("unloading", answer.unloading)) if place]
    said = " or ".join(f"{on_the_tape(p.length_m, p.tape_m, shown)} {way}" for way, p in ways)
    headers = ("", f"tape {shown.length}", f"half-path {shown.length}", "+- mean", "+- next set")
    rows = tuple((way, *_place_cells(place, shown)) for way, place in _both_ways(answer.loading, answer.unloading))
    return View(
        kilos=f"{answer.band} pulls {pull_in_both(answer.force_N, shown)} at {said}",
        grid=Grid(headers, rows),
        lines=(_measured(answer.day), LIMITS, *((UNKNOWN_TAPE,) if answer.tape_kind is None else ())),
        findings=answer.findings,
    )


def _both_ways(
    loading: PlaceOnTape | None, unloading: PlaceOnTape | None
) -> tuple[tuple[str, PlaceOnTape | None], ...]:
    return ("loading", loading), ("unloading", unloading)


def _ways(loading: Pull | None, unloading: Pull | None) -> tuple[tuple[str, Pull | None], ...]:
    return ("loading", loading), ("unloading", unloading)


def _place_cells(place: PlaceOnTape | None, shown: Shown) -> tuple[str, ...]:
    if place is None:
        return ("-", "-", "-", "-")
    tape = "-" if place.tape_m is None else shown.tape(place.tape_m)
    limits = (shown.tape(u) for u in (place.u95_mean_m, place.u95_next_set_m))
    return (tape, shown.tape(place.length_m), *limits)


def _measured(day: str | None) -> str:
    return f"Measured {day}." if day else "The date it was measured was not recorded."


def _newtons(answer: PullAnswer) -> Section:
    rows = tuple(
        (way, *(f"{v:.1f}" for v in (p.force_N, p.u_N, p.u95_mean_N, p.u95_next_set_N)))
        for way, p in _ways(answer.loading, answer.unloading)
        if p is not None
    )
    pulls = "both legs together" if answer.strands == 2 else "the single strand"
    assumed = " The change from day to day is assumed, not measured." if answer.between_days_assumed else ""
    note = f"A pull is of {pulls}; a kg is what a scale shows (9.80665 N). u: standard uncertainty (k = 1).{assumed}"
    return Section("newtons", "In newtons", Grid(("", "N", "u", "+- mean", "+- next set"), rows), (note,))


def curve_view(answer: CurveAnswer, shown: Shown, picture: str = "") -> View:
    """A band's whole curve.

    Args:
        answer: The curve.
        shown: Units for people.
        picture: The curve drawn in plain characters.
    """
    first, last = answer.table[0], answer.table[-1]
    pulls = [r.loading.force_N for r in (first, last) if r.loading is not None]
    span, also = (
        f"{' to '.join(u.pull(p, d) for p in pulls)} {u.force}" for u, d in ((shown, 2), (other_units(shown), 1))
    )
    places = " to ".join(shown.tape(r.length_m if r.tape_m is None else r.tape_m) for r in (first, last))
    taped = "tape" if first.tape_m is not None else "half-path length"
    return View(
        kilos=f"{answer.band}: {span} ({also}), {taped} {places} {shown.length}",
        grid=_curve_grid(_few(answer.table), shown, short=True),
        lines=(_circumstances(answer), LIMITS),
        findings=answer.findings,
        sections=(
            Section("facts", "", None, _facts(answer, shown)),
            Section("table", "Curve", _curve_grid(answer.table, shown), _curve_notes(answer, shown), picture),
            _budget(answer, shown),
        ),
    )


def _few(rows: tuple[CurveRow, ...]) -> tuple[CurveRow, ...]:
    """Some rows, first and last among them."""
    if len(rows) <= MOST_ROWS:
        return rows
    places = [round(i * (len(rows) - 1) / (MOST_ROWS - 1)) for i in range(MOST_ROWS)]
    return tuple(rows[i] for i in places)


def _curve_grid(rows: tuple[CurveRow, ...], shown: Shown, *, short: bool = False) -> Grid:
    """The curve as a table; the short one has no stretch and fits 80 columns."""
    back, taped = any(r.unloading for r in rows), any(r.tape_m is not None for r in rows)
    headers = (f"{'tape' if taped else 'half-path'} {shown.length}", *(() if short else ("stretch",)))
    for way in ("loading", "unloading") if back else ("loading",):
        headers += (f"{way} {shown.force}", other_units(shown).force, "+-mean", "+-next")
    return Grid(headers, tuple(_curve_cells(row, shown, back, short) for row in rows))


def _curve_cells(row: CurveRow, shown: Shown, back: bool, short: bool) -> tuple[str, ...]:
    where = shown.tape(row.length_m if row.tape_m is None else row.tape_m)
    stretch = () if short else (f"{row.stretch:.2f}",)
    unloading = pull_cells(row.unloading, shown) if back else ()
    return (where, *stretch, *pull_cells(row.loading, shown), *unloading)


def _curve_notes(answer: CurveAnswer, shown: Shown) -> tuple[str, ...]:
    pulls = "both legs together" if answer.strands == 2 else "the single strand"
    offset = answer.half_path_less_tape_m
    more = "" if not offset else f" Half-path length is the tape's and {length(offset, shown)}."
    assumed = " The change from day to day is assumed, not measured." if answer.between_days_assumed else ""
    return (
        f"Stretch is half-path length over {length(answer.rest_half_path_m, shown)} at rest.{more} "
        f"A pull is of {pulls}.{assumed}",
    )


def _circumstances(answer: CurveAnswer) -> str:
    when = _measured(answer.day).rstrip(".")
    scale = f" ({clean(answer.scale)})" if answer.scale else ""
    parts = [
        f"{when}, {METHODS.get(answer.method, answer.method)}{scale}",
        f"{answer.cycles} cycle{'s' * (answer.cycles != 1)}",
        f"{answer.dwell_s:g} s at each point" if answer.dwell_s is not None else "",
    ]
    return ", ".join(filter(None, parts)) + "."


def _facts(answer: CurveAnswer, shown: Shown) -> tuple[str, ...]:
    """What else is known of the band."""
    lost, room = answer.loss, answer.temperature_C
    loss = ""
    if lost is not None:
        span = f"{length(lost.from_m, shown)} to {length(lost.to_m, shown)}"
        loss = (
            f" From {span} half-path and back it loses {lost.energy_lost_J:.1f} J of the {lost.energy_in_J:.1f} J put "
            f"in: {100 * lost.loss_ratio:.1f} +- {200 * lost.u_loss_ratio:.1f} %."
        )
    warm = f"{room:.0f} C" if room is not None else "Temperature not recorded"
    note = (f"Note: {clean(answer.note)}.",) if answer.note else ()
    return (f"Flat length {length(answer.flat_length_m, shown)}. {warm}.{loss}", *note)


def _budget(answer: CurveAnswer, shown: Shown) -> Section:
    """Largest share in the middle first, the smallest together; a share is of the variance."""
    lines = sorted(answer.budget, key=lambda line: -line.share_middle)
    small = [b for b in lines if max(b.share_low, b.share_middle, b.share_top) < NEGLIGIBLE]
    small = small if len(small) > 1 else []
    origin = {"A": "your readings", "B": "the gear"}
    rows = [
        _budget_cells(b.source, (b.u_low_N, b.u_middle_N, b.u_top_N), b.share_middle, origin.get(b.type, ""), shown)
        for b in lines
        if b not in small
    ]
    if small:
        parts = zip(*((b.u_low_N, b.u_middle_N, b.u_top_N) for b in small), strict=True)
        together = tuple(sum(u**2 for u in part) ** 0.5 for part in parts)
        share = sum(b.share_middle for b in small)
        rows.append(_budget_cells(f"{len(small)} smaller ones", together, share, "", shown))
    headers = ("source", *(f"{place} {shown.force}" for place in ("low", "middle", "top")), "share", "from")
    note = (
        "Standard uncertainties (k = 1) of the mean; twice that is about 95 %. Shares of the variance, in the middle."
    )
    return Section("budget", "Uncertainty budget", Grid(headers, tuple(rows)), (note,))


def _budget_cells(name: str, u: tuple[float, ...], share: float, origin: str, shown: Shown) -> tuple[str, ...]:
    return (name, *(shown.pull(one, 3) for one in u), f"{share:.0%}", origin)


def fitted_view(band: FittedBand, shown: Shown, sections: tuple[Section, ...] = ()) -> View:
    """One band that was fitted: its pull in the middle of the lengths measured.

    Args:
        band: What was fitted.
        shown: Units for people.
        sections: The curve and its budget.
    """
    where = on_the_tape(band.length_m, band.tape_m, shown)
    rows = tuple((way, *pull_cells(pull, shown)) for way, pull in _ways(band.loading, band.unloading))
    also = "" if band.tape_m is None else f"Half-path length there: {length(band.length_m, shown)}. "
    count, cycles = f"{band.readings} readings", f"{band.cycles} cycle{'s' * (band.cycles != 1)}"
    return View(
        kilos=f"{band.band} at {where}: {pulls_in_words(band.loading, band.unloading, shown)}",
        grid=Grid(("", *pull_headers(shown)), rows),
        lines=(f"{also}{count} in {cycles}. Written to {band.file}.", LIMITS),
        findings=band.findings,
        sections=sections,
    )


def run_view(answer: RunAnswer, shown: Shown, lines: tuple[str, ...] = (), picture: str = "") -> View:
    """A run as it was recorded.

    Args:
        answer: The run.
        shown: Units for people.
        lines: What its head says.
        picture: Its readings drawn in plain characters.
    """
    readings = sum(r.kind == "reading" and r.struck is None for r in answer.rows)
    struck = sum(r.struck is not None for r in answer.rows)
    still = "" if answer.not_fitted is None else f"It cannot be fitted yet: {answer.not_fitted}."
    pulls = [r.shown_N for r in answer.rows if r.kind == "reading" and r.struck is None and r.shown_N is not None]
    span = f", {pull_in_both(min(pulls), shown)} to {pull_in_both(max(pulls), shown)}" if pulls else ""
    grid = Grid(
        ("row", "what", "cycle", "branch", f"tape {shown.length}", f"shows {shown.force}", "note"),
        tuple(
            (
                str(r.row),
                r.kind,
                "" if r.cycle is None else "cond." if r.cycle == 0 else str(r.cycle),
                r.branch or "",
                "" if r.tape_m is None else shown.tape(r.tape_m),
                _shown(r.shown_N, r.mass_kg, r.counts, shown),
                r.note if r.struck is None else f"STRUCK: {r.struck}",
            )
            for r in answer.rows
        ),
    )
    next_ = still or f"Next: bandcurve fit {answer.file}"
    return View(
        kilos=f"Run of {answer.band}: {readings} readings{span}" + (f", {struck} struck" if struck else ""),
        lines=(*lines, next_),
        findings=answer.findings,
        sections=(Section("rows", "Rows", grid, (), picture),),
    )


def _shown(force: float | None, mass: float | None, counts: float | None, shown: Shown) -> str:
    if mass is not None:
        return f"{mass * 9.80665 / shown.newton:.3f}"
    if force is not None:
        return shown.pull(force, 3)
    return "" if counts is None else f"{counts:g} counts"
