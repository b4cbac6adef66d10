"""A run in plain words: its head as sentences, its rows as a table with struck ones marked. Nothing is fitted here."""

from collections.abc import Iterator

from calib.records import Row, Run, RunHead
from calib.units import G_STANDARD, kilos
from calib.verbs.terminal.plain_text import clean, table, wrap

_METHODS = {
    "scale-in-line": "with a scale in line",
    "hung-weight": "with hung weights",
    "anchor-on-scale": "with the anchor standing on a scale",
}
_TAPED = {
    "band-outer": "between the outer faces of the band over its fittings",
    "band-inner": "between the places where band and fittings touch",
    "centres": "between the centres of the fittings",
    "half-path": "as half-path lengths",
}
_BRANCHES = {"loading": "way out", "unloading": "way back", None: ""}


def head_text(run: Run) -> str:
    """What the head of a run says, one sentence a subject."""
    return "\n".join(wrap(clean(sentence), None, "", "  ") for sentence in _sentences(run))


def _sentences(run: Run) -> Iterator[str]:
    head = run.head
    band = head.band
    made = f", started {head.started:%Y-%m-%d %H:%M}" if head.started else ""
    yield f"Run {run.name} of band {band.id}{made}, {_METHODS[head.procedure.method]}."
    known = (("thickness", band.thickness, "mm"), ("width", band.width, "mm"), ("mass", band.mass, "g"))
    facts = [f"{name} {value * 1000:.3g} {unit}" for name, value, unit in known if value]
    flat = f"{band.flat_length * 1000:.1f} mm flat, give or take {2 * band.u_flat_length * 1000:.1f} mm"
    yield f"The band is {_strands(head)}: {', '.join([flat, *facts])}."
    if band.note:
        yield f"Note: {band.note}."
    fittings = " and ".join(f"{d * 1000:g} mm" for d in head.length.fitting_diameters)
    across = f", over fittings of {fittings}" if fittings else ""
    good = f"one reading is good to {_mm(head.length.u_reading)} (k = 1)"
    yield f"Lengths were taped {_TAPED[head.length.kind]}{across}; {good}."
    yield from _gear(head)
    yield _procedure(head)


def _strands(head: RunHead) -> str:
    return "a loop" if head.band.strands == 2 else "a single strand"


def _mm(metre: float) -> str:
    return f"{metre * 1000:g} mm"


def _gear(head: RunHead) -> Iterator[str]:
    scale, loads = head.scale, head.loads
    if scale is not None:
        checked = (
            f"checked ({scale.check})" if scale.check or scale.correction else "not checked as far as the run says"
        )
        locks = "" if scale.locks == "no" else f"; it locks its {'peak' if scale.locks == 'peak' else 'steady value'}"
        yield f"Scale {scale.id} shows steps of {scale.resolution / G_STANDARD:.3g} kg, {checked}{locks}."
    if loads is not None:
        hook = f"; a hook of {loads.hook_mass * 1000:.0f} g hangs with each" if loads.hook_mass else ""
        yield f"Known weights {loads.id}, each good to {loads.u_each * 1000:.0f} g (k = 1){hook}."


def _procedure(head: RunHead) -> str:
    held = head.procedure
    parts = [
        f"{held.conditioning_pulls} conditioning pulls" if held.conditioning_pulls is not None else "",
        f"{held.dwell_s:g} s at each point" if held.dwell_s is not None else "",
        f"{held.temperature:.0f} degrees C" if held.temperature is not None else "temperature not noted",
    ]
    return "Procedure: " + ", ".join(filter(None, parts)) + "."


def rows_text(run: Run) -> str:
    """Every row as a table, in the order recorded; a struck row says so, with the reason."""
    hung = run.head.procedure.method == "hung-weight"
    headers = ("row", "what", "cycle", "branch", "metres", "hung kg" if hung else "shown kg", "note")
    return table(headers, [_cells(run, row, hung) for row in run.rows])


def _cells(run: Run, row: Row, hung: bool) -> tuple[str, ...]:
    struck = run.struck.get(row.number)
    note = row.note if struck is None else f"STRUCK: {struck}"
    cycle = "" if row.cycle is None else "cond." if row.cycle == 0 else str(row.cycle)
    length = "" if row.length is None else f"{row.length:.4f}"
    return (
        str(row.number), row.kind, cycle, _BRANCHES[row.branch], length, _value(row, hung), note,
    )  # fmt: skip


def _value(row: Row, hung: bool) -> str:
    if hung and row.mass is not None:
        return f"{row.mass:.3f}"
    if row.force is not None:
        return kilos(row.force, 3).removesuffix(" kg")
    return "" if row.counts is None else f"{row.counts:g} counts"
