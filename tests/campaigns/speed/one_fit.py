"""One band fitted in four ways: time, and how often the 95 % interval holds the truth.

All get the same simulated bands, measured with gear that is off as gear is. The other three fit each branch by itself
to a law with two or three coefficients and take the interval that the scatter of the residuals gives, which is how they
are commonly used; none of them is told what the scale and the tape are worth.
"""

from collections.abc import Callable
from time import process_time
from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import curve_fit
from scipy.stats import t as student

from calib.fit.curve.estimate import fit_runs
from calib.records import Array, Run
from tests.campaigns.simulated_bands.measuring import Measured, measure
from tests.campaigns.simulated_bands.worlds import BY_NAME

SHARES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])  # of the tested range
WORLD = "hook"  # an ordinary hanging scale
Interval = tuple[Array, Array]  # force and its 95 % half-width [N]
OfABranch = Callable[[Array, Array, Array, float], Interval]


class Fitted(NamedTuple):
    """What a way of fitting takes, and what its intervals are worth."""

    name: str
    best_ms: float  # processor time of one band, both branches
    median_ms: float
    held: int
    of: int
    width: float  # median half-width, relative


def law(stretch: Array, first: Any, second: Any) -> Any:
    """Mooney's law for simple tension (L. R. G. Treloar, The Physics of Rubber Elasticity, 3rd ed. 1975, ch. 5)."""
    return (first + second / stretch) * (stretch - stretch**-2)


def compared(bands: int) -> list[Fitted]:
    """All ways on the same bands."""
    ways: list[tuple[str, OfABranch | None]] = [
        ("bandcurve, full uncertainty", None),
        ("curve_fit, Mooney's law", _curve_fit),
        ("a quadratic", _quadratic),
    ]
    try:
        import lmfit  # noqa: F401
    except ImportError:
        print("lmfit is not installed: its row is left out")
    else:
        ways.insert(2, ("lmfit, Mooney's law, with confidence intervals", _lmfit))
    measured = [measure(BY_NAME[WORLD], number) for number in range(bands)]
    return [_tried(name, way, measured) for name, way in ways]


def _tried(name: str, way: OfABranch | None, measured: list[Measured]) -> Fitted:
    _of_one(way, measured[0])
    taken: list[float] = []
    held: list[bool] = []
    widths: list[float] = []
    for one in measured:
        begun = process_time()
        found = _of_one(way, one)
        taken.append(1e3 * (process_time() - begun))
        for (force, half), true in zip(found, _true(one), strict=True):
            held += (np.abs(force - true) <= half).tolist()
            widths += (half / true).tolist()
    return Fitted(name, min(taken), float(np.median(taken)), sum(held), len(held), float(np.median(widths)))


def _places(run: Run) -> Array:
    lengths = [row.length for row in run.readings if row.length is not None]
    return min(lengths) + SHARES * (max(lengths) - min(lengths))


def _true(one: Measured) -> list[Array]:
    at = _places(one.run)
    return [one.truth.loading(at), one.truth.unloading(at)]


def _of_one(way: OfABranch | None, one: Measured) -> list[Interval]:
    at = _places(one.run)
    if way is None:
        curve = fit_runs([one.run]).curve
        assert curve.unloading is not None
        return [
            (np.interp(at, table.length, table.force), np.interp(at, table.length, table.u95))
            for table in (curve.loading, curve.unloading)
        ]
    out = []
    for branch in ("loading", "unloading"):
        rows = [row for row in one.run.readings if row.branch == branch]
        length, force = (np.array([getattr(row, name) for row in rows], float) for name in ("length", "force"))
        out.append(way(length, force, at, one.truth.rest))
    return out


def _curve_fit(length: Array, force: Array, at: Array, rest: float) -> Interval:
    best, covariance = curve_fit(law, length / rest, force, p0=(50.0, 50.0))
    columns = np.array([law(at / rest, 1.0, 0.0), law(at / rest, 0.0, 1.0)])
    u = np.sqrt(np.einsum("ij,ik,kj->j", columns, covariance, columns))
    return law(at / rest, *best), student.ppf(0.975, len(force) - 2) * u


def _lmfit(length: Array, force: Array, at: Array, rest: float) -> Interval:
    import lmfit

    model = lmfit.Model(law)
    found = model.fit(force, stretch=length / rest, first=50.0, second=50.0)
    found.conf_interval(sigmas=[0.95])
    return found.eval(stretch=at / rest), found.eval_uncertainty(sigma=0.95, stretch=at / rest)


def _quadratic(length: Array, force: Array, at: Array, rest: float) -> Interval:
    best, covariance = np.polyfit(length / rest, force, 2, cov=True)
    columns = np.vander(at / rest, 3)
    u = np.sqrt(np.einsum("ji,ik,jk->j", columns, covariance, columns))
    return np.asarray(np.polyval(best, at / rest), float), student.ppf(0.975, len(force) - 3) * u
