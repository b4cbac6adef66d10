"""Laws of rubber in simple tension as others published them, and published tables; nominal stress over stretch.

The level of a law is of no account here: each band scales it to a peak pull. What counts is the shape. Parameters are
those of the publication where they are remembered, and then say "from memory"; no law is fitted to anything here.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

Array = NDArray[np.float64]
DATA = Path(__file__).parents[2] / "data"
TO_NEWTON = 9.80665


@dataclass(frozen=True)
class Law:
    """`stress(stretch)` is zero at 1 and grows; `highest` is the longest stretch it is used to."""

    name: str
    source: str
    stress: Callable[[Array], Array]
    highest: float = 2.4


def _gauss(x: Array) -> Array:
    return np.asarray(x - x**-2)


def neo_hooke(x: Array) -> Array:
    return _gauss(x)


def mooney_rivlin(x: Array) -> Array:
    return 2 * (0.16 + 0.15 / x) * _gauss(x)


def gent(x: Array) -> Array:
    return 30 / (30 - (x**2 + 2 / x - 3)) * _gauss(x)


def ogden(x: Array) -> Array:
    terms = ((0.63, 1.3), (0.0012, 5.0), (-0.01, -2.0))
    return np.asarray(np.sum([m * (x ** (a - 1) - x ** (-a / 2 - 1)) for m, a in terms], axis=0))


def extended_tube(x: Array) -> Array:
    cross, entangled, finite, beta = 0.187, 0.217, 0.097, 0.2
    stretchiness = x**2 + 2 / x
    room = 1 - finite**2 * (stretchiness - 3)
    chains = cross / 2 * ((1 - finite**2) / room**2 - finite**2 / room) * (2 * x - 2 * x**-2)
    return np.asarray(chains + 2 * entangled / beta * (x ** (beta / 2 - 1) - x ** (-beta - 1)))


def arruda_boyce(x: Array) -> Array:
    links, first = 26.5, x**2 + 2 / x
    series = (1 / 2, 1 / 20, 11 / 1050, 19 / 7000, 519 / 673750)
    slope = np.sum([c * (i + 1) * first**i / links**i for i, c in enumerate(series)], axis=0)
    return np.asarray(2 * slope * _gauss(x))


def yeoh(x: Array) -> Array:
    first = x**2 + 2 / x - 3
    return 2 * (0.18 - 2 * 0.0024 * first + 3 * 0.000055 * first**2) * _gauss(x)


def varga(x: Array) -> Array:
    return np.asarray(2 * (1 - x**-1.5))


def knowles(x: Array) -> Array:
    first = x**2 + 2 / x - 3
    return (1 + 0.6 / 0.7 * first) ** (0.7 - 1) * _gauss(x)


def gent_gent(x: Array) -> Array:
    first, second = x**2 + 2 / x, 2 * x + x**-2
    return (77.9 / (77.9 - first + 3) * 0.246 + 2 * 0.094 / (x * second)) * _gauss(x)


def van_der_waals(x: Array) -> Array:
    strain, limit, interaction = x**2 / 2 + 1 / x - 1.5, 10.0, 0.25
    d = _gauss(x)
    phi = limit**2 / 2 + 1 / limit - 1.5
    return d * (1 / (1 - np.sqrt(strain / phi)) - interaction * np.sqrt(strain))


def carroll(x: Array) -> Array:
    first, second = x**2 + 2 / x, 2 * x + x**-2
    return np.asarray(2 * (0.15 + 4 * 3.1e-7 * first**3) * _gauss(x) + 0.095 / np.sqrt(second) * 2 * (1 - x**-3))


def biderman(x: Array) -> Array:
    first = x**2 + 2 / x - 3
    return 2 * (0.208 - 2 * 0.0024 * first + 3 * 0.0005 * first**2 + 0.0233 / x) * _gauss(x)


def lopez_pamies(x: Array) -> Array:
    first = x**2 + 2 / x
    return np.asarray(
        np.sum([3 ** (1 - a) * m * first ** (a - 1) for m, a in ((0.28, 0.6), (0.0033, 3.0))], axis=0) * _gauss(x)
    )


def hart_smith(x: Array) -> Array:
    first, second = x**2 + 2 / x, 2 * x + x**-2
    return 2 * 0.175 * (np.exp(0.000287 * (first - 3) ** 2) + 1.47 / second / x) * _gauss(x)


def _rows(name: str) -> Array:
    rows = np.array(
        [[float(c) for c in line.split(",")] for line in (DATA / name).read_text("utf-8").splitlines()[2:] if line]
    )
    return rows[rows[:, 0] > 1.005]


def _smooth_table(name: str, degree: int = 4) -> Callable[[Array], Array]:
    """A smooth law through a table that scatters: reduced stress as a polynomial in 1 / stretch (Mooney's plot).

    Jones & Treloar's rows scatter by 0.4 % beyond a stretch of 1.1, by 1 to 2 % below it and by 9 % (2.5 kPa) in the
    first; rubber does not. Each row is
    taken to be off by 3 kPa and 0.5 %, an assumption. The degree is the least at which neighbouring residuals are alike
    by no more than chance makes those of 33 rows: correlated by 0.39 at degrees 2 and 3, by 0.19 at 4; chance 0.35.
    """
    stretch, stress = _rows(name).T
    weight = 1 / np.hypot(0.003, 0.005 * stress)
    powers = np.vander(1 / stretch, degree + 1) * _gauss(stretch)[:, None]
    found = np.linalg.lstsq(powers * weight[:, None], stress * weight, rcond=None)[0]
    return lambda x: np.asarray(np.polyval(found, 1 / x) * _gauss(x))


def _table(name: str) -> Callable[[Array], Array]:
    rows = _rows(name)
    through = PchipInterpolator(np.r_[1.0, rows[:, 0]], np.r_[0.0, rows[:, 1]])
    return lambda x: np.asarray(through(x), dtype=np.float64)


PUBLISHED = (
    Law("neo-hooke", "Treloar, Trans. Faraday Soc. 39 (1943) 241", neo_hooke),
    Law("mooney-rivlin", "Mooney, J. Appl. Phys. 11 (1940) 582; Rivlin 1948; constants from memory", mooney_rivlin),
    Law("gent", "Gent, Rubber Chem. Technol. 69 (1996) 59; limit 30 assumed", gent),
    Law("ogden", "Ogden, Proc. R. Soc. A 326 (1972) 565; constants from memory", ogden),
    Law(
        "extended-tube", "Kaliske & Heinrich, Rubber Chem. Technol. 72 (1999) 602; constants from memory", extended_tube
    ),
    Law("arruda-boyce", "Arruda & Boyce, J. Mech. Phys. Solids 41 (1993) 389; series from memory", arruda_boyce),
    Law("yeoh", "Yeoh, Rubber Chem. Technol. 66 (1993) 754; constants from memory", yeoh),
    Law("varga", "Varga, Stress-Strain Behavior of Elastic Materials (1966), from memory", varga),
    Law("knowles", "Knowles, Int. J. Fract. 13 (1977) 611, from memory; exponent 0.7 assumed", knowles),
    Law("gent-gent", "Pucci & Saccomandi, Rubber Chem. Technol. 75 (2002) 839, constants from memory", gent_gent),
    Law("van-der-waals", "Kilian, Polymer 22 (1981) 209, from memory", van_der_waals),
    Law("carroll", "Carroll, J. Elasticity 103 (2011) 173, constants from memory", carroll),
    Law("biderman", "Biderman 1958, from memory", biderman),
    Law("lopez-pamies", "Lopez-Pamies, C. R. Mecanique 338 (2010) 3, constants from memory", lopez_pamies),
    Law("hart-smith", "Hart-Smith, Z. angew. Math. Phys. 17 (1966) 608, constants from memory", hart_smith),
    Law("table-treloar", "table: Treloar, Trans. Faraday Soc. 40 (1944) 59", _table("treloar1944_ut.csv"), 2.7),
    Law(
        "table-jones",
        "a smooth law through the table: Jones & Treloar, J. Phys. D 8 (1975) 1285",
        _smooth_table("jones1975_ut.csv"),
        2.4,
    ),
    Law("table-james", "table: James et al., J. Appl. Polym. Sci. 19 (1975) 2033", _table("james1975_ut.csv"), 2.4),
    Law("table-kawabata", "table: Kawabata et al., Macromolecules 14 (1981) 154", _table("kawabata1981_ut.csv"), 2.4),
)
BY_NAME = {law.name: law for law in PUBLISHED}
