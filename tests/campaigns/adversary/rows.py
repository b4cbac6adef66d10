"""The rows: bands, gear and people that are out there and that a fit may not have thought of."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.campaigns.adversary import gear as tools
from tests.campaigns.adversary import rubber
from tests.campaigns.adversary.case import SHAPE, SLIPS, Case, Maker, NextSet, Row, rows_of
from tests.campaigns.adversary.gear import CELL, HOOK, Gear, Habits, Rng, Weights
from tests.campaigns.adversary.laws import BY_NAME, PUBLISHED, TO_NEWTON, Law
from tests.campaigns.adversary.rubber import Band, Size

DAY = 0.01
LAWS = tuple(BY_NAME[n] for n in ("mooney-rivlin", "gent", "extended-tube", "ogden", "table-kawabata", "arruda-boyce"))


@dataclass(frozen=True)
class Way:
    """How a row differs from a plain day; the next set is on a day that differs by `day` (sd)."""

    gear: Gear = HOOK
    cycles: int = 2
    count: int = 8
    trend: float = 0.0
    slips: int = 0
    day: float = DAY
    low: tuple[float, float] = (1.08, 1.15)
    stretches: tuple[float, ...] = ()


def any_law(rng: Rng) -> Law:
    return LAWS[int(rng.integers(len(LAWS)))]


def next_set(rng: Rng, day: float, trend: float = 0.0, cycles: int = 2) -> NextSet:
    lost = trend * 0.6 ** np.arange(cycles)
    fallen = np.r_[0, -np.cumsum(lost)]
    gain = 1 + fallen[-1] - fallen[:-1].mean() + day * rng.standard_normal() + 0.004 * rng.standard_normal()
    return NextSet(float(gain), float(0.001 * rng.standard_normal()))


def habits_of(rng: Rng, way: Way, top: float) -> Habits:
    stretches = way.stretches or tools.spread_out(float(rng.uniform(*way.low)), top, way.count)
    return Habits(stretches, way.cycles, trend=way.trend, slips=way.slips)


def scale_case(rng: Rng, ident: str, band: Band, way: Way, stretches: tuple[float, ...] = ()) -> Case:
    habits = habits_of(rng, replace(way, stretches=stretches or way.stretches), band.size.top_stretch)
    errors = tools.draw_errors(rng, way.gear)
    sheet = tools.by_scale(rng, band, way.gear, habits, errors)
    files = {f"{ident}.run.csv": tools.scale_run(ident, band, way.gear, errors, sheet)}
    low, high = float(sheet.lengths.min()) + 0.003, float(sheet.lengths.max()) - 0.003
    return Case(ident, files, band, low, high, next_set(rng, way.day, way.trend, way.cycles))


Bander = Callable[[Rng], Band]


def plain(rng: Rng, size: Size | None = None) -> Band:
    return rubber.band_of(size or rubber.draw_size(rng), any_law(rng).stress, rubber.any_back(rng))


def by_scale(make: Bander, way: Way) -> Maker:
    return lambda rng, ident: scale_case(rng, ident, make(rng), way)


def bent(rng: Rng, size: Size | None = None) -> Band:
    size = size or rubber.draw_size(rng)
    engages = float(rng.uniform(1.25, min(1.7, size.top_stretch - 0.3)))
    stress = rubber.second_layer(any_law(rng), engages, float(rng.uniform(0.4, 1.1)))
    return rubber.band_of(size, stress, rubber.any_back(rng))


def curled(rng: Rng, size: Size | None = None) -> Band:
    stress = rubber.curled(any_law(rng), float(rng.uniform(0.2, 0.5)), float(rng.uniform(0.08, 0.2)))
    return rubber.band_of(size or rubber.draw_size(rng), stress, rubber.any_back(rng))


def plateaus(rng: Rng, size: Size | None = None) -> Band:
    size = size or rubber.draw_size(rng)
    stress = rubber.two_plateaus(0.8, float(rng.uniform(1.4, 1.65)), float(rng.uniform(0.05, 0.1)))
    return rubber.band_of(size, stress, rubber.any_back(rng))


def turned_up(rng: Rng, over: tuple[float, float], more: tuple[float, float]) -> Band:
    """Pulls `more` (share) than its law at the top, which grows with the cube from `over` below the top on."""
    size = rubber.draw_size(rng)
    begins, share = float(rng.uniform(*over)), float(rng.uniform(*more))
    stress = rubber.upturn(any_law(rng), size.top_stretch - begins, share / begins**3)
    return rubber.band_of(size, stress, rubber.any_back(rng))


def sparse_top(over: tuple[float, float], more: tuple[float, float]) -> Maker:
    """The last two lengths lie 0.38 in stretch apart."""

    def make(rng: Rng, ident: str) -> Case:
        band = turned_up(rng, over, more)
        top = band.size.top_stretch
        lower = tools.spread_out(float(rng.uniform(1.08, 1.15)), top - 0.38, 7)
        return scale_case(rng, ident, band, Way(CELL), (*lower, top))

    return make


def cornered(rng: Rng) -> Band:
    back = rubber.cornered_back(float(rng.uniform(0.08, 0.16)), float(rng.uniform(0.15, 0.4)))
    return rubber.band_of(rubber.draw_size(rng), any_law(rng).stress, back)


def thick(rng: Rng) -> Band:
    return plain(rng, rubber.draw_size(rng, (12, 42), 0.010))


def light(rng: Rng) -> Band:
    return plain(rng, rubber.draw_size(rng, (9.0, 11.0)))


def of_law(law: Law) -> Bander:
    def make(rng: Rng) -> Band:
        size = rubber.draw_size(rng)
        size = replace(size, top_stretch=min(size.top_stretch, law.highest))
        return rubber.band_of(size, law.stress, rubber.any_back(rng))

    return make


def hung_size(rng: Rng, top_kg: float) -> Size:
    """Of a band whose longest length is where the largest load stretches it to; it carries half of itself."""
    size = rubber.draw_size(rng, (top_kg, top_kg))
    half = size.rest * size.thickness * size.width * rubber.DENSITY
    return replace(size, peak=(top_kg + half) * TO_NEWTON)


def plates(rng: Rng, ident: str) -> Case:
    """Eight plates, each another, each hung alone: off by 120 g, the same in each cycle and branch."""
    top = float(np.round(rng.uniform(20, 42)))
    pieces = tuple(np.round(top * np.linspace(0.12, 1, 8) * 2) / 2)
    band = plain(rng, hung_size(rng, top))
    return weight_case(rng, ident, band, Weights(pieces, tuple((i,) for i in range(8)), 0.12, 120))


def stacks(named: bool) -> Maker:
    """A ladder of loads out of a few pieces, 60 g a piece; unnamed, the file says what a mean load is off by."""
    pieces = (2.5, 5.0, 5.0, 10.0, 10.0)
    loads = ((0,), (1,), (0, 1), (1, 2), (0, 1, 2), (3, 1), (3, 1, 2), (3, 4, 1), (3, 4, 1, 2))
    each = 60 * float(np.sqrt(np.mean([len(load) for load in loads])))

    def make(rng: Rng, ident: str) -> Case:
        band = plain(rng, hung_size(rng, 30.0))
        return weight_case(rng, ident, band, Weights(pieces, loads, 0.06, each, named))

    return make


def weight_case(rng: Rng, ident: str, band: Band, weights: Weights) -> Case:
    gear = replace(CELL, u_reading_mm=1.5, noise=0.001)
    errors = tools.draw_errors(rng, gear)
    sheet, _ = tools.by_weights(rng, band, gear, Habits((), 2), errors, weights)
    files = {f"{ident}.run.csv": tools.weight_run(ident, band, gear, errors, sheet, weights)}
    low, high = float(sheet.lengths.min()) + 0.004, min(float(sheet.lengths.max()) - 0.006, band.top - 0.003)
    return Case(ident, files, band, low, high, next_set(rng, DAY))


def two_days(day: float) -> Maker:
    """One scale, one tape, two days; the truth is the mean over all days."""

    def make(rng: Rng, ident: str) -> Case:
        band, errors = plain(rng), tools.draw_errors(rng, CELL)
        stretches = tools.spread_out(float(rng.uniform(1.08, 1.15)), band.size.top_stretch, 8)
        files, ends = {}, []
        for i, when in enumerate(("2026-03-01", "2026-03-08")):
            gain = 1 + day * float(rng.standard_normal())
            sheet = tools.by_scale(rng, band, CELL, Habits(stretches), errors, gain)
            files[f"{ident}.{i}.run.csv"] = tools.scale_run(ident, band, CELL, errors, sheet, when)
            ends.append((sheet.lengths.min(), sheet.lengths.max()))
        low, high = max(a for a, _ in ends) + 0.003, min(b for _, b in ends) - 0.003
        return Case(ident, files, band, float(low), float(high), next_set(rng, day))

    return make


def one_day(day: float) -> Maker:
    """One day's readings; the truth of the curve is that day's, the next set is on another."""

    def make(rng: Rng, ident: str) -> Case:
        case = scale_case(rng, ident, plain(rng), Way(CELL, day=0))
        other = case.next_set.gain + day * float(rng.standard_normal()) - day * float(rng.standard_normal())
        return replace(case, next_set=NextSet(other, case.next_set.shift))

    return make


UPRIGHT = replace(HOOK, resolution_kg=0.02, u_gain=0.002, upright="top", zeroed="hook-only", weighed=False)
TRUNCATED = replace(HOOK, resolution_kg=0.1, truncates=True, u_gain=0.003)
SCATTER = frozenset({"not-repeatable"})
NONE: frozenset[str] = frozenset()


def bend_rows() -> list[Row]:
    return rows_of(
        "band",
        SHAPE,
        ("bend-cell", "a second layer engages sharply; load cell", by_scale(bent, Way(CELL))),
        ("bend-hook", "the same, hook scale", by_scale(bent, Way())),
        ("curled", "a curled start; load cell", by_scale(curled, Way(CELL))),
        ("plateaus", "two plateaus; load cell", by_scale(plateaus, Way(CELL))),
        (
            "upturn",
            "an upturn from 0.5 to 0.8 in stretch below the top on, 10 to 30 % there, 0.38 to the last length; cell",
            sparse_top((0.5, 0.8), (0.1, 0.3)),
        ),
        (
            "upturn-hidden",
            "the same, begins at 0.35 to 0.6 and adds 20 to 60 %: nearly all of it lies between the last two lengths",
            sparse_top((0.35, 0.6), (0.2, 0.6)),
        ),
        ("corner", "a corner in the unloading branch; load cell", by_scale(cornered, Way(CELL))),
    )


def upright_rows() -> list[Row]:
    weighed, corner = Way(replace(UPRIGHT, weighed=True)), "upright and not weighed, a corner in the unloading branch"
    return [
        *rows_of(
            "gear",
            NONE,
            (
                "upright",
                "upright, scale on top, zeroed with its hook alone, not weighed",
                by_scale(plain, Way(UPRIGHT)),
            ),
            ("upright-weighed", "the same, and weighed", by_scale(plain, weighed)),
        ),
        *rows_of("gear", SHAPE, ("upright-corner", corner, by_scale(cornered, Way(UPRIGHT)))),
    ]


def weight_rows() -> list[Row]:
    unnamed = "the same, no piece named: the file gives what a mean load is off by"
    return rows_of(
        "gear",
        NONE,
        ("plates", "hung plates, 120 g each, the same in every cycle and branch", plates),
        ("stacks", "stacks out of five pieces, 60 g a piece, each named in the file", stacks(True)),
        ("stacks-unnamed", unnamed, stacks(False)),
    )


def scale_rows() -> list[Row]:
    drift = Way(replace(HOOK, drift_kg=0.2, closing_zero=False, u_gain=0.003))
    cut, swing = "a display that cuts off below 0.1 kg, peak 10 kg", Way(replace(HOOK, swing_kg=0.15))
    said = replace(TRUNCATED, display="cuts-off")
    drifts = frozenset({"slow-drift", "zero-drift"})
    slips = by_scale(plain, Way(slips=9, cycles=3))
    return [
        *rows_of(
            "gear",
            NONE,
            ("truncated", cut, by_scale(light, Way(TRUNCATED))),
            ("truncated-said", "the same, and the file says so", by_scale(light, Way(said))),
        ),
        *rows_of("gear", SCATTER, ("swing", "a swing of 150 g on each reading", by_scale(plain, swing))),
        *rows_of("gear", drifts, ("no-zero", "no zero at the end, 0.2 kg of drift", by_scale(plain, drift))),
        *rows_of("gear", SLIPS, ("slips-9-of-45", "three cycles, 45 readings, 9 slips", slips)),
    ]


def thick_rows() -> list[Row]:
    fine = replace(CELL, u_reading_mm=0.7, u_common_mm=0.4)
    inner, centres = by_scale(thick, Way(fine)), by_scale(thick, Way(replace(fine, kind="centres")))
    words = "10 mm thick, thinning as it stretches (it keeps its volume)"
    return rows_of(
        "gear",
        NONE,
        ("thick-inner", f"{words}, band-inner; cell", inner),
        ("thick-centres", f"{words}, centres; cell", centres),
    )


def people_rows() -> list[Row]:
    rows = []
    for day in (0.005, 0.01, 0.02):
        words = f"{day * 100:g} % of gain a day"
        rows += rows_of("people", SCATTER, (f"two-days-{day * 100:g}%", f"two days joined, {words}", two_days(day)))
        rows += rows_of("people", NONE, (f"one-day-{day * 100:g}%", f"one day read, {words}", one_day(day)))
    for trend in (0.01, 0.02, 0.03):
        text = f"conditioning not finished: {trend * 100:g} % from cycle 1 to 2, 0.6 of it to the next"
        make = by_scale(plain, Way(CELL, trend=trend))
        rows += rows_of("people", frozenset({"cycle-trend"}), (f"trend-{trend * 100:g}%", text, make))
    return rows


def law_rows() -> list[Row]:
    found = []
    for law in PUBLISHED:
        make = by_scale(of_law(law), Way(CELL))
        found += rows_of("law", NONE, (f"law-{law.name}", "published law; load cell", make), source=law.source)
    return found


def plain_rows() -> list[Row]:
    return rows_of(
        "plain",
        NONE,
        ("plain-cell", "nothing odd: any of six laws; load cell", by_scale(plain, Way(CELL))),
        ("plain-hook", "nothing odd; hook scale", by_scale(plain, Way())),
        source="laws as below",
    )


def all_rows() -> list[Row]:
    gear = upright_rows() + weight_rows() + scale_rows() + thick_rows()
    return plain_rows() + bend_rows() + gear + people_rows() + law_rows()
