"""Two simulated bands hooked end to end, and where the link between them stands."""

import numpy as np
from scipy.optimize import brentq

from calib.acquire.files.series_file import Series, parse_series
from calib.half_path import offset_over
from calib.profile.document import Profile
from tests.campaigns.simulated_bands.measuring import THICKNESS, TrueBand

LINK, ROD = 0.040, 0.010  # m
OFFSET = offset_over("band-inner", (0.0, ROD), THICKNESS)  # m


def head(first: str, second: str, flat: tuple[float, float] = (1.029, 1.029)) -> str:
    """The head of a series, over points at the outer ends."""
    bands = "".join(
        f'# [{name}]\n# id = "{band}"\n# flat_length_mm = {1000 * length:.2f}\n# thickness_mm = {1000 * THICKNESS}\n'
        for name, band, length in (("first", first, flat[0]), ("second", second, flat[1]))
    )
    length = f"# [length]\n# link_length_mm = {1000 * LINK}\n# link_diameter_mm = {1000 * ROD}\n"
    return f'# format = "bandcurve-series/1"\n{bands}{length}row,cycle,total_mm,ring_mm\n'


def exact(a: Profile, b: Profile, lengths: tuple[float, ...] = (1.4, 1.6, 1.8)) -> Series:
    """What a tape would show if both pulled as their profiles say; the first at these half-path lengths. [m]"""
    rows = [(x - OFFSET, b.length(a.force(x)).length - OFFSET) for x in lengths]
    return of_rows(a.band.id, b.band.id, rows, (a.band.flat_length_m, b.band.flat_length_m))


def of_rows(
    first: str, second: str, rows: list[tuple[float, float]], flat: tuple[float, float], pulls: int = 1
) -> Series:
    """A series of inner lengths of both bands. [m]"""
    each = len(rows) // pulls
    text = head(first, second, flat) + "".join(
        f"{i + 1},{i // each + 1},{1000 * (x + y + LINK):.3f},{1000 * (x + LINK / 2):.3f}\n"
        for i, (x, y) in enumerate(rows)
    )
    return parse_series(text.encode(), f"{first}+{second}.series.csv")


def simulated(
    bands: tuple[TrueBand, TrueBand], flat: tuple[float, float], rng: np.random.Generator, pulls: int = 2
) -> Series:
    """Read three totals in each pull; every error as large as the series' own assumptions say."""
    rows = []
    common = 0.001 * rng.standard_normal(2)
    day = 1 + 0.005 * rng.standard_normal(2)
    for _ in range(pulls):
        gain = day * (1 + 0.005 * rng.standard_normal(2))
        shift = common + 0.0012 * rng.standard_normal(2)
        for stretch in (1.45, 1.6, 1.75):
            total = stretch * (bands[0].rest + bands[1].rest)
            first = brentq(
                lambda x, whole, g: float(
                    g[0] * bands[0].loading(np.array(x)) - g[1] * bands[1].loading(np.array(whole - x))
                ),
                0.3 * total,
                0.7 * total,
                args=(total, gain),
            )
            ring, end = 0.001 * rng.standard_normal(2)
            rows.append((first - OFFSET - shift[0] + ring, total - first - OFFSET - shift[1] - ring + end))
    return of_rows("B01", "B02", rows, flat, pulls)
