"""The rows: bands, gear and people that are out there and that a fit may not have thought of."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.campaigns.adversary import gear as tools
from tests.campaigns.adversary import rubber
from tests.campaigns.adversary.case import Case, NextSet, Row
from tests.campaigns.adversary.gear import CELL, HOOK, Gear, Habits, Rng, Weights
from tests.campaigns.adversary.laws import BY_NAME, PUBLISHED, TO_NEWTON, Law
from tests.campaigns.adversary.rubber import Band, Size

DAY = 0.01
INVENTED = "invented"
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
Maker = Callable[[Rng, str], Case]


def plain(rng: Rng, size: Size | None = None) -> Band:
    return rubber.band_of(size or rubber.draw_size(rng), any_law(rng).stress, rubber.any_back(rng))


def by_scale(make: Bander, way: Way) -> Maker:
    return lambda rng, ident: scale_case(rng, ident, make(rng), way)


def bent(rng: Rng) -> Band:
    size = rubber.draw_size(rng)
    engages = float(rng.uniform(1.25, min(1.7, size.top_stretch - 0.3)))
    stress = rubber.second_layer(any_law(rng), engages, float(rng.uniform(0.4, 1.1)))
    return rubber.band_of(size, stress, rubber.any_back(rng))


def curled(rng: Rng) -> Band:
    stress = rubber.curled(any_law(rng), float(rng.uniform(0.2, 0.5)), float(rng.uniform(0.08, 0.2)))
    return rubber.band_of(rubber.draw_size(rng), stress, rubber.any_back(rng))


def plateaus(rng: Rng) -> Band:
    size = rubber.draw_size(rng)
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
SHAPE = frozenset({"curled-start", "shape-held"})


def bend_rows() -> list[Row]:
    return [
        Row(
            "bend-cell",
            "a second layer engages sharply; load cell",
            INVENTED,
            by_scale(bent, Way(CELL)),
            SHAPE,
            group="band",
        ),
        Row("bend-hook", "the same, hook scale", INVENTED, by_scale(bent, Way()), SHAPE, group="band"),
        Row("curled", "a curled start; load cell", INVENTED, by_scale(curled, Way(CELL)), SHAPE, group="band"),
        Row("plateaus", "two plateaus; load cell", INVENTED, by_scale(plateaus, Way(CELL)), SHAPE, group="band"),
        Row(
            "upturn",
            "an upturn from 0.5 to 0.8 in stretch below the top on, 10 to 30 % there, 0.38 to the last length; cell",
            INVENTED,
            sparse_top((0.5, 0.8), (0.1, 0.3)),
            SHAPE,
            group="band",
        ),
        Row(
            "upturn-hidden",
            "the same, begins at 0.35 to 0.6 and adds 20 to 60 %: nearly all of it lies between the last two lengths",
            INVENTED,
            sparse_top((0.35, 0.6), (0.2, 0.6)),
            SHAPE,
            group="band",
        ),
        Row(
            "corner",
            "a corner in the way back; load cell",
            INVENTED,
            by_scale(cornered, Way(CELL)),
            SHAPE,
            group="band",
        ),
    ]


def upright_rows() -> list[Row]:
    return [
        Row(
            "upright",
            "upright, scale on top, zeroed with its hook alone, band not weighed",
            INVENTED,
            by_scale(plain, Way(UPRIGHT)),
        ),
        Row("upright-weighed", "the same, and weighed", INVENTED, by_scale(plain, Way(replace(UPRIGHT, weighed=True)))),
        Row(
            "upright-corner",
            "the same, not weighed, a corner in the way back",
            INVENTED,
            by_scale(cornered, Way(UPRIGHT)),
            SHAPE,
        ),
    ]


def gear_rows() -> list[Row]:
    swing = replace(HOOK, swing_kg=0.15)
    drift = replace(HOOK, drift_kg=0.2, closing_zero=False, u_gain=0.003)
    rows = [
        Row("plates", "hung plates, 120 g each, the same in every cycle and branch", INVENTED, plates),
        Row("stacks", "stacks out of five pieces, 60 g a piece, each named in the file", INVENTED, stacks(True)),
        Row(
            "stacks-unnamed",
            "the same, no piece named: the file gives what a mean load is off by",
            INVENTED,
            stacks(False),
        ),
        Row("truncated", "a display that cuts off below 0.1 kg, peak 10 kg", INVENTED, by_scale(light, Way(TRUNCATED))),
        Row(
            "swing",
            "a swing of 150 g on each reading",
            INVENTED,
            by_scale(plain, Way(swing)),
            frozenset({"not-repeatable"}),
        ),
        Row(
            "no-zero",
            "no zero at the end, 0.2 kg of drift",
            INVENTED,
            by_scale(plain, Way(drift)),
            frozenset({"slow-drift", "zero-drift"}),
        ),
        Row(
            "slips-9-of-45",
            "three cycles, 45 readings, 9 slips",
            INVENTED,
            by_scale(plain, Way(slips=9, cycles=3)),
            slips=True,
        ),
    ]
    for kind, name in (("band-inner", "inner"), ("centres", "centres")):
        gear = replace(CELL, kind=kind, u_reading_mm=0.7, u_common_mm=0.4)
        rows.append(
            Row(
                f"thick-{name}",
                f"10 mm thick, thinning as it stretches, {kind}; cell",
                "volume kept: geometry",
                by_scale(thick, Way(gear)),
            )
        )
    return rows


def people_rows() -> list[Row]:
    rows = []
    for day in (0.005, 0.01, 0.02):
        words = f"{day * 100:g} % of gain a day"
        rows.append(
            Row(f"two-days-{day * 100:g}%", f"two days joined, {words}", INVENTED, two_days(day), group="people")
        )
        rows.append(Row(f"one-day-{day * 100:g}%", f"one day read, {words}", INVENTED, one_day(day), group="people"))
    for trend in (0.01, 0.02, 0.03):
        text = f"conditioning not finished: {trend * 100:g} % from cycle 1 to 2, 0.6 of it to the next"
        make = by_scale(plain, Way(CELL, trend=trend))
        rows.append(Row(f"trend-{trend * 100:g}%", text, INVENTED, make, frozenset({"cycle-trend"}), group="people"))
    return rows


def law_rows() -> list[Row]:
    return [
        Row(f"law-{a.name}", "published law; load cell", a.source, by_scale(of_law(a), Way(CELL)), group="law")
        for a in PUBLISHED
    ]


def plain_rows() -> list[Row]:
    return [
        Row(
            "plain-cell",
            "nothing odd: any of six laws; load cell",
            "laws as below",
            by_scale(plain, Way(CELL)),
            group="plain",
        ),
        Row("plain-hook", "nothing odd; hook scale", "laws as below", by_scale(plain, Way()), group="plain"),
    ]


def all_rows() -> list[Row]:
    return plain_rows() + bend_rows() + upright_rows() + gear_rows() + people_rows() + law_rows()
