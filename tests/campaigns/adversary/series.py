"""Two bands hooked end to end, told apart by tape alone: `pair --series`."""

from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq

from tests.campaigns.adversary import gear as tools
from tests.campaigns.adversary import rubber
from tests.campaigns.adversary.case import Case, Row, rows_of
from tests.campaigns.adversary.gear import Gear, Rng
from tests.campaigns.adversary.laws import PUBLISHED
from tests.campaigns.adversary.rows import next_set
from tests.campaigns.adversary.rubber import Band, Shape

GEAR = Gear(kind="band-inner", fittings_mm=(12.0, 10.0), u_reading_mm=1.0, u_common_mm=1.0, u_flat_mm=2.0)
LINK_MM = 40.0
HEAD = """# format = "bandcurve-series/1"
# [first]
# id = "{ident}"
# flat_length_mm = {first:.0f}
# u_flat_length_mm = 2
# thickness_mm = 4.5
# fitting_diameter_mm = 12
# [second]
# id = "REF"
# flat_length_mm = {second:.0f}
# u_flat_length_mm = 2
# thickness_mm = 4.5
# fitting_diameter_mm = 12
# [length]
# kind = "band-inner"
# link_length_mm = 40
# link_diameter_mm = 10
# u_reading_mm = 1
# u_common_mm = 1
row,kind,cycle,branch,total_mm,ring_mm,note
"""


def twins(rng: Rng, stress: Shape) -> tuple[Band, Band]:
    """Two of one kind: 8 % in level (1 sd) and 1 % in length apart."""
    rest, level = 1.03 * (1 + 0.01 * rng.standard_normal(2)), 1 + 0.08 / np.sqrt(2) * rng.standard_normal(2)
    back = rubber.smooth_back(0.1, 2)
    pair = [
        rubber.band_of(rubber.Size(r, 2.15, 200 * a, 0.0045, 0.03), stress, back)
        for r, a in zip(rest, level, strict=True)
    ]
    return pair[0], pair[1]


def settled(first: Band, second: Band, total: float, gains: tuple[float, float]) -> float:
    """How long the first is where both pull alike; `total` is of both half-paths."""

    def more(x: float) -> float:
        ahead, behind = first.pull("loading", x), second.pull("loading", total - x)
        return float(ahead * gains[0] - behind * gains[1])

    return float(brentq(more, total - second.top, first.top))


def read_pair(rng: Rng, first: Band, second: Band) -> list[str]:
    """Three lengths, two pulls; the tape lies from the first end on, the link's middle is the ring."""
    rows: list[str] = []
    beyond = float(tools.beyond_tape(GEAR.kind, (0.012, 0.010), 0.0045, 1.6)) - LINK_MM / 2e3
    common = 0.001 * rng.standard_normal(2)
    for cycle in (1, 2):
        gains = tuple(1 + 0.004 * rng.standard_normal(2))
        hooks = 0.001 * rng.standard_normal(2)
        for stretch in (1.45, 1.6, 1.75):
            total = round((stretch * (first.rest + second.rest) - 2 * beyond) * 1e3 / 10) * 10 / 1e3
            both = total + 2 * beyond + common.sum() - hooks.sum() + 0.001 * float(rng.standard_normal())
            x = settled(first, second, both, (float(gains[0]), float(gains[1])))
            ring = x - beyond - common[0] + hooks[0] + 0.001 * float(rng.standard_normal())
            rows.append(f"{len(rows) + 1},reading,{cycle},loading,{total * 1e3:.0f},{ring * 1e3:.0f},")
    return rows


def series_case(shape: Callable[[Rng], Shape]) -> Callable[[Rng, str], Case]:
    def case(rng: Rng, ident: str) -> Case:
        first, second = twins(rng, shape(rng))
        flats = [(b.flat + 0.002 * float(rng.standard_normal())) * 1e3 for b in (first, second)]
        text = HEAD.format(ident=ident, first=flats[0], second=flats[1])
        text += "\n".join(read_pair(rng, first, second)) + "\n"
        name = f"{ident}+REF.series.csv"
        options = ("pair", "--series", f"{{folder}}/{name}", "--json")
        return Case(ident, {name: text}, first, 1.4, 1.8, next_set(rng, 0), options, other=second)

    return case


def published(rng: Rng) -> Shape:
    return PUBLISHED[int(rng.integers(len(PUBLISHED)))].stress


def unlike_rubber(rng: Rng) -> Shape:
    """A straight spring, one that gives way, one that stiffens, one with a second layer, one with two plateaus."""
    return (
        lambda x: np.asarray(x - 1),
        lambda x: np.asarray(1 - np.exp(-(x - 1) / 0.3) + 0.1 * (x - 1)),
        lambda x: np.asarray((x - 1) ** 1.5),
        rubber.second_layer(PUBLISHED[2], 1.45, 0.8),
        rubber.two_plateaus(0.8, 1.55, 0.08),
    )[int(rng.integers(5))]


def series_rows() -> list[Row]:
    return rows_of(
        "series",
        frozenset(),
        ("series-laws", "two bands by tape alone; any of the laws below", series_case(published)),
        ("series-unlike", "the same, laws unlike rubber", series_case(unlike_rubber)),
    )
