"""Scales, tapes, weights and people: what is done to a band, and the run file that comes of it.

An uncertainty in the head of a run is what its name says: one normal draw of that size, once for what is common, anew
for each reading where it is of one reading. What the file does not say (swing, drift, steps cut off) is the
adversary's.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from tests.campaigns.adversary.laws import TO_NEWTON, Array
from tests.campaigns.adversary.rubber import Band

Rng = np.random.Generator


@dataclass(frozen=True)
class Gear:
    """Of the scale in kg and shares, of the tape in metres; `swing_kg` is the sd of what the needle does."""

    resolution_kg: float = 0.05
    u_gain: float = 0.01
    u_zero_kg: float = 0.03
    noise: float = 0.002
    swing_kg: float = 0.0
    truncates: bool = False
    display: str = ""  # what the file says the display does, where somebody looked
    drift_kg: float = 0.0
    closing_zero: bool = True
    kind: str = "band-inner"
    fittings_mm: tuple[float, float] = (12.0, 12.0)
    u_reading_mm: float = 1.5
    u_common_mm: float = 1.0
    u_scale: float = 0.0005
    u_flat_mm: float = 2.0
    thins: bool = True
    upright: str = ""  # "top" or "bottom": where the scale is when the band hangs
    zeroed: str = "band-both-ends"
    weighed: bool = True


CELL = Gear(0.005, 0.0015, 0.004, 0.001, u_reading_mm=1.0, u_common_mm=0.5)
HOOK = Gear()


@dataclass(frozen=True)
class Habits:
    """How it is done: stretch ratios, cycles, how one pull differs from the next; `trend` is lost with each cycle."""

    stretches: tuple[float, ...]
    cycles: int = 2
    cycle_gain: float = 0.004
    hook_shift: float = 0.001
    trend: float = 0.0
    slips: int = 0


@dataclass(frozen=True)
class Errors:
    """What is off for a whole run, drawn once; two runs with one scale and tape share them."""

    gain: float
    zero_kg: float
    common: float
    tape: float
    flat: float


@dataclass(frozen=True)
class Reading:
    cycle: int
    branch: str
    length_mm: float
    force_kg: float
    at_s: float


@dataclass(frozen=True)
class Sheet:
    """A run as it would lie on disk: its readings, zeros (at_s, kg), and where they truly were (half-path, m)."""

    readings: tuple[Reading, ...]
    zeros: tuple[tuple[float, float], ...]
    lengths: Array = field(repr=False)


def draw_errors(rng: Rng, gear: Gear) -> Errors:
    n = rng.standard_normal(5)
    return Errors(
        n[0] * gear.u_gain,
        n[1] * gear.u_zero_kg,
        n[2] * gear.u_common_mm / 1e3,
        n[3] * gear.u_scale,
        n[4] * gear.u_flat_mm / 1e3,
    )


def beyond_tape(kind: str, fittings: Sequence[float], thickness: float, stretch: Array | float) -> Array | float:
    """Half-path less the tape's length [m], by geometry: the band's middle goes half round each fitting.

    The band thins as 1/sqrt(stretch): rubber keeps its volume, and width and thickness shrink alike.
    """
    thick = thickness / np.sqrt(stretch)
    round_both = np.pi / 4 * (fittings[0] + fittings[1] + 2 * thick)
    if kind == "half-path":
        return 0.0 * thick
    if kind == "centres":
        return round_both
    across = (fittings[0] + fittings[1]) / 2
    return round_both - across - (2 * thick if kind == "band-outer" else 0)


def spread_out(low: float, top: float, count: int) -> tuple[float, ...]:
    """Stretch ratios closer together where the pull changes fast."""
    return tuple(low * (top / low) ** (np.linspace(0, 1, count) ** 1.15))


def half_path_of(band: Band, gear: Gear, tape: Array) -> Array:
    fittings = [d / 1e3 for d in gear.fittings_mm]
    length = tape + 0.01
    for _ in range(6):
        stretch = np.maximum(length / band.rest, 1) if gear.thins else 1.0
        length = tape + beyond_tape(gear.kind, fittings, band.thickness, stretch)
    return length


def tape_of(band: Band, gear: Gear, length: Array) -> Array:
    fittings = [d / 1e3 for d in gear.fittings_mm]
    stretch = np.maximum(length / band.rest, 1) if gear.thins else 1.0
    return length - beyond_tape(gear.kind, fittings, band.thickness, stretch)


def course(count: int, cycles: int) -> list[tuple[int, str, int]]:
    """(cycle, branch, which length): out through all, back through all but the top."""
    out = [("loading", i) for i in range(count)]
    back = [("unloading", i) for i in reversed(range(count - 1))]
    return [(c, b, i) for c in range(1, cycles + 1) for b, i in out + back]


def differs(rng: Rng, habits: Habits) -> tuple[Array, Array]:
    """Gain and hook shift of each cycle; what is lost is lost by less each time, and is none in the mean."""
    lost = habits.trend * 0.6 ** np.arange(habits.cycles)
    fallen = np.r_[0, -np.cumsum(lost)[:-1]] if habits.cycles > 1 else np.zeros(1)
    gains = 1 + fallen - fallen.mean() + habits.cycle_gain * rng.standard_normal(habits.cycles)
    return gains, habits.hook_shift * rng.standard_normal(habits.cycles)


def show(gear: Gear, kilos: Array) -> Array:
    steps = kilos / gear.resolution_kg
    whole = np.trunc(steps + 1e-9) if gear.truncates else np.round(steps)
    return np.asarray(np.round(whole * gear.resolution_kg, 4))


def own_weight_kg(band: Band, gear: Gear) -> float:
    """What the scale shows beyond the mean pull along the band, by where it is and what it was zeroed with."""
    if not gear.upright or gear.zeroed == "band-both-ends":
        return 0.0
    side = 0.5 if gear.upright == "top" else -0.5
    hung = 1.0 if gear.zeroed == "band-free" and gear.upright == "top" else 0.0
    return (side - hung) * band.mass


def by_scale(rng: Rng, band: Band, gear: Gear, habits: Habits, errors: Errors, day_gain: float = 1.0) -> Sheet:
    """Set a length, read the scale."""
    plan = course(len(habits.stretches), habits.cycles)
    gains, shifts = differs(rng, habits)
    targets = tape_of(band, gear, band.rest * np.array(habits.stretches))
    said = np.round(targets[[i for *_, i in plan]] * 1e3 / 5) * 5 / 1e3
    cycles = np.array([c for c, *_ in plan]) - 1
    really = said * (1 + errors.tape) + errors.common + gear.u_reading_mm / 1e3 * rng.standard_normal(len(plan))
    at = half_path_of(band, gear, really) - shifts[cycles]
    out = np.array([b == "loading" for _, b, _ in plan])
    pulls = np.where(out, band.pull("loading", at), band.pull("unloading", at)) * gains[cycles] * day_gain
    pulls = pulls * (1 + gear.noise * rng.standard_normal(len(plan))) / TO_NEWTON
    time = 30.0 * np.arange(1, len(plan) + 1)
    end = time[-1] + 30
    kilos = pulls * (1 + errors.gain) + errors.zero_kg + own_weight_kg(band, gear)
    kilos = kilos + gear.drift_kg * time / end + gear.swing_kg * rng.standard_normal(len(plan))
    shown = slip(rng, show(gear, kilos), habits.slips)
    zeros = [(5.0, show(gear, np.array(errors.zero_kg)).item())]
    if gear.closing_zero:
        zeros.append((end, show(gear, np.array(errors.zero_kg + gear.drift_kg)).item()))
    rows = [
        Reading(c, b, round(m * 1e3, 1), float(k), t)
        for (c, b, _), m, k, t in zip(plan, said, shown, time, strict=True)
    ]
    return Sheet(tuple(rows), tuple(zeros), at)


def slip(rng: Rng, shown: Array, count: int) -> Array:
    """Typed wrongly: two digits swapped, a point moved, a key beside, ten off."""
    typed = shown.copy()
    for i in rng.choice(len(shown), count, replace=False):
        typed[i] = slipped(rng, float(shown[i]))
    return typed


def slipped(rng: Rng, kilos: float) -> float:
    text = f"{kilos:.2f}"
    for _ in range(20):
        which = rng.integers(4)
        digits = list(text)
        places = [i for i, c in enumerate(digits) if c.isdigit()]
        i = int(rng.choice(places[:-1]))
        if which == 0 and i + 1 in places:
            digits[i], digits[i + 1] = digits[i + 1], digits[i]
        elif which == 1:
            return round(kilos * float(rng.choice([0.1, 10])), 2)
        elif which == 2:
            digits[i] = str((int(digits[i]) + int(rng.choice([-1, 1]))) % 10)
        else:
            return round(kilos + (10 if kilos < 10 or rng.random() < 0.5 else -10), 2)
        value = float("".join(digits))
        if value > 0 and abs(value - kilos) > 0.5:
            return value
    return round(kilos * 10, 2)


def head(ident: str, band: Band, gear: Gear, errors: Errors, day: str = "2026-03-01") -> list[str]:
    """The head that every kind of run has: band, tape and day."""
    lines = [
        'format = "bandcurve-run/1.1"',
        f"started = {day}T10:00:00Z",
        "[band]",
        f'id = "{ident}"',
        f"flat_length_mm = {round((band.flat + errors.flat) * 1e3, 1)}",
        f"u_flat_length_mm = {gear.u_flat_mm}",
        f"thickness_mm = {round(band.thickness * 1e3, 2)}",
        f"width_mm = {round(band.width * 1e3, 1)}",
    ]
    if gear.weighed:
        lines.append(f"mass_g = {round(band.mass * 1e3)}")
    return [
        *lines,
        "[length]",
        f'kind = "{gear.kind}"',
        f"fitting_diameters_mm = [{gear.fittings_mm[0]}, {gear.fittings_mm[1]}]",
        f"u_reading_mm = {gear.u_reading_mm}",
        f"u_common_mm = {gear.u_common_mm}",
        f"u_scale = {gear.u_scale}",
        'tape = "T1"',
    ]


def procedure(method: str, upright: str) -> list[str]:
    where = [f'scale_at = "{upright}"'] if upright and method == "scale-in-line" else []
    return [
        "[procedure]",
        f'method = "{method}"',
        f'orientation = "{"vertical" if upright else "horizontal"}"',
        *where,
        "conditioning_pulls = 5",
        "dwell_s = 10.0",
        "temperature_C = 20.0",
    ]


def scale_run(ident: str, band: Band, gear: Gear, errors: Errors, sheet: Sheet, day: str = "2026-03-01") -> str:
    """The text of a run that a scale in line gave."""
    lines = [
        *head(ident, band, gear, errors, day),
        "[scale]",
        'id = "hook"',
        f"resolution_kgf = {gear.resolution_kg}",
        f"u_gain = {gear.u_gain}",
        f"u_zero_kgf = {gear.u_zero_kg}",
        f'zeroed = "{gear.zeroed}"',
        *([f'display = "{gear.display}"'] if gear.display else []),
        *procedure("scale-in-line", gear.upright),
    ]
    rows = [f"zero,,,,{kilos:g},{at:g},," for at, kilos in sheet.zeros[:1]]
    rows += [f"reading,{r.cycle},{r.branch},{r.length_mm:g},{r.force_kg:g},{r.at_s:g},10," for r in sheet.readings]
    rows += [f"zero,,,,{kilos:g},{at:g},," for at, kilos in sheet.zeros[1:]]
    return written(lines, "row,kind,cycle,branch,length_mm,force_kgf,at_s,dwell_s,note", rows)


def written(lines: list[str], columns: str, rows: list[str]) -> str:
    table = [f"{i},{row}" for i, row in enumerate(rows, 1)]
    return "\n".join([f"# {line}" for line in lines] + [columns, *table]) + "\n"


@dataclass(frozen=True)
class Weights:
    """Pieces [kg] and what makes each load; `piece_sd` is how far one is from its mark; whether the file names them."""

    pieces: tuple[float, ...]
    loads: tuple[tuple[int, ...], ...]
    piece_sd: float
    u_each_g: float
    named: bool = False

    def marked(self) -> Array:
        return np.array([sum(self.pieces[i] for i in load) for load in self.loads])


def by_weights(
    rng: Rng, band: Band, gear: Gear, habits: Habits, errors: Errors, weights: Weights
) -> tuple[Sheet, Array]:
    """Hang plates, read the length; the same pieces are off by the same in every load, cycle and branch."""
    off = weights.piece_sd * rng.standard_normal(len(weights.pieces))
    marked = weights.marked()
    real = marked + np.array([sum(off[i] for i in load) for load in weights.loads])
    plan = course(len(marked), habits.cycles)
    gains, shifts = differs(rng, habits)
    cycles = np.array([c for c, *_ in plan]) - 1
    which = np.array([i for *_, i in plan])
    out = np.array([b == "loading" for _, b, _ in plan])
    pulls = (real[which] + band.mass / 2) * TO_NEWTON / gains[cycles]
    pulls = pulls * (1 + gear.noise * rng.standard_normal(len(plan)))
    at = np.where(out, band.length_at("loading", pulls), band.length_at("unloading", pulls)) + shifts[cycles]
    tape = (tape_of(band, gear, at) - errors.common) / (1 + errors.tape)
    tape = tape + gear.u_reading_mm / 1e3 * rng.standard_normal(len(plan))
    time = 30.0 * np.arange(1, len(plan) + 1)
    rows = [
        Reading(c, b, round(float(m) * 1e3), round(float(marked[i]), 3), float(t))
        for (c, b, i), m, t in zip(plan, tape, time, strict=True)
    ]
    return Sheet(tuple(rows), (), at), real


def weight_run(ident: str, band: Band, gear: Gear, errors: Errors, sheet: Sheet, weights: Weights) -> str:
    """The text of a run with hung plates."""
    lines = [
        *head(ident, band, gear, errors),
        *procedure("hung-weight", "top"),
        "latitude_deg = 45.5",
        *load_words(weights),
    ]
    made_of = dict(zip(np.round(weights.marked(), 3), weights.loads, strict=True))
    rows = []
    for r in sheet.readings:
        hung = "+".join(f"p{i}" for i in made_of[r.force_kg]) if weights.named else ""
        rows.append(f"reading,{r.cycle},{r.branch},{r.length_mm:g},{r.force_kg:g},{hung},{r.at_s:g},10,")
    return written(lines, "row,kind,cycle,branch,length_mm,mass_kg,pieces,at_s,dwell_s,note", rows)


def load_words(weights: Weights) -> list[str]:
    """What the plates are: pieces by name, or each distinct load with an amount of its own."""
    lines = ["[loads]", 'id = "my-plates"', "u_common = 0.0", "hook_mass_g = 0.0"]
    if not weights.named:
        return [*lines, f"u_each_g = {weights.u_each_g:g}"]
    count = len(weights.pieces)
    return [
        *lines,
        f"pieces = {json.dumps([f'p{i}' for i in range(count)])}",
        f"piece_masses_kg = {json.dumps([float(m) for m in weights.pieces])}",
        f"u_piece_masses_g = {[weights.piece_sd * 1e3] * count}",
    ]
