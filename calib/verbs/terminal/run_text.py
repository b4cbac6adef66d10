"""The head of a run in plain words. Nothing is fitted or printed here."""

from collections.abc import Iterator

from calib.records import Run, RunHead
from calib.units import SHOWN, Shown
from calib.verbs.terminal.plain_text import clean

_METHODS = {
    "scale-in-line": "with a scale in line",
    "hung-weight": "with hung weights",
    "anchor-on-scale": "with the anchor standing on a scale",
}
_TAPED = {
    "band-outer": "outer face to outer face of the band",
    "band-inner": "inside edge to inside edge of the band",
    "centres": "centre of one pin to centre of the other",
    "half-path": "as half-path lengths",
}


def head_lines(run: Run, shown: Shown = SHOWN["kg"]) -> tuple[str, ...]:
    """What the head of a run says, one sentence a subject.

    Args:
        run: The run.
        shown: Units for people; small sizes stay in millimetres.
    """
    return tuple(clean(sentence) for sentence in _sentences(run, shown))


def _sentences(run: Run, shown: Shown) -> Iterator[str]:
    head = run.head
    band = head.band
    made = f", started {head.started:%Y-%m-%d %H:%M}" if head.started else ""
    yield f"Run {run.name} of band {band.id}{made}, {_METHODS[head.procedure.method]}."
    known = (("thickness", band.thickness, "mm"), ("width", band.width, "mm"), ("mass", band.mass, "g"))
    facts = [f"{name} {value * 1000:.3g} {unit}" for name, value, unit in known if value]
    flat = f"{shown.tape(band.flat_length)} {shown.length} flat (+- {2 * band.u_flat_length * 1000:.1f} mm)"
    yield f"The band is {_strands(head)}: {', '.join([flat, *facts])}."
    if band.note:
        yield f"Note: {band.note}."
    pins = " and ".join(f"{d * 1000:g} mm" for d in head.length.fitting_diameters)
    across = f", over pins of {pins}" if pins else ""
    good = f"one reading is good to {_mm(head.length.u_reading)} (k = 1)"
    yield f"Lengths were taped {_TAPED[head.length.kind]}{across}; {good}."
    yield from _gear(head, shown)
    yield _procedure(head)


def _strands(head: RunHead) -> str:
    return "a loop" if head.band.strands == 2 else "a single strand"


def _mm(metre: float) -> str:
    return f"{metre * 1000:g} mm"


def _gear(head: RunHead, shown: Shown) -> Iterator[str]:
    scale, loads = head.scale, head.loads
    if scale is not None:
        checked = f"checked ({scale.check})" if scale.check or scale.correction else "not checked, according to the run"
        locks = "" if scale.locks == "no" else f"; it locks its {'peak' if scale.locks == 'peak' else 'steady value'}"
        yield f"Scale {scale.id} shows steps of {scale.resolution / shown.newton:.3g} {shown.force}, {checked}{locks}."
    if loads is not None:
        hook = f"; a hook of {loads.hook_mass * 1000:.0f} g hangs with each" if loads.hook_mass else ""
        yield f"Known weights {loads.id}, each good to {loads.u_each * 1000:.0f} g (k = 1){hook}."


def _procedure(head: RunHead) -> str:
    held = head.procedure
    parts = [
        f"{held.conditioning_pulls} conditioning pulls" if held.conditioning_pulls is not None else "",
        f"{held.dwell_s:g} s at each point" if held.dwell_s is not None else "",
        f"{held.temperature:.0f} degrees C" if held.temperature is not None else "temperature not recorded",
    ]
    return "Procedure: " + ", ".join(filter(None, parts)) + "."
