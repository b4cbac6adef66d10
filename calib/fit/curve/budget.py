"""Where the uncertainty comes from, and what the loop loses: sums over the fitted curve, no fitting.

The budget is exact for a Gaussian linear model: the error of the estimate is a sum over the prior of each effect and
the noise of each reading, so their variances add up to that of the curve.
"""

from typing import Literal

import numpy as np

from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.tension_curve import UNREAD, UNSEEN_SLIP, FittedCurve
from calib.fit.curve.variance_components import Posterior
from calib.records import Array, BudgetLine, Hysteresis

NEGLIGIBLE = 0.1  # of the largest weight: what such a node could change is made good by scaling

LABELS = {
    "repeatability": "A",
    "swinging of the scale": "A",
    "resolution of the scale": "B",
    "length of one reading": "B",
    "cycle gain": "A",
    "hook shift": "A",
    "shape of the curve": "A",
    "flat length": "B",
    "size of the scatter": "A",
    "readings that drift together": "A",
    "noise of its own readings": "A",
    "borrowed from the batch": "A",
    UNSEEN_SLIP: "A",
    UNREAD: "B",
}


def budget(model: MixedModel, posterior: Posterior, curve: FittedCurve) -> tuple[BudgetLine, ...]:
    """Sources of uncertainty of the loading branch at its lowest, middle and largest length."""
    low, top = curve.loading
    length = np.array([low, 0.5 * (low + top), top])
    force, gradient = curve.rows(length, False)
    parts = _parts(model, posterior, gradient)
    unknown = posterior.weights @ (curve.node_shift @ gradient.T) ** 2
    total = np.einsum("ij,jk,ik->i", gradient, curve.covariance, gradient)
    drift = 0 * total if curve.drift is None else np.einsum("ij,jk,ik->i", gradient, curve.drift, gradient)
    whole = (total - unknown - drift) / sum(parts.values())  # makes good the nodes passed over
    parts = {name: variance * whole for name, variance in parts.items()}
    unseen = curve.unseen_slip(gradient) ** 2
    bend = (curve.bends(length) ** 2).sum(axis=1)
    parts |= {"size of the scatter": unknown, "readings that drift together": drift, UNSEEN_SLIP: unseen, UNREAD: bend}
    return lines(parts, total + unseen + bend, force, model.gains.size)


def lines(parts: dict[str, Array], total: Array, force: Array, cycles: int) -> tuple[BudgetLine, ...]:
    """Budget lines of relative variances at low, middle and top, the largest share first.

    Args:
        parts: Variances by source, each of shape (3,).
        total: Their sum, shape (3,).
        force: Force at the three places, shape (3,). [N]
        cycles: How many were seen.
    """
    found = [
        BudgetLine(name, _type(name, cycles), _three(force * np.sqrt(v)), _three(v / total))
        for name, v in parts.items()
        if (v > 1e-12 * total).any()
    ]
    return tuple(sorted(found, key=lambda line: -max(line.share)))


def _type(name: str, cycles: int) -> Literal["A", "B"]:
    """Seen in these readings, or known beforehand: how cycles differ cannot be seen in one cycle."""
    if cycles < 2 and name in ("cycle gain", "hook shift"):
        return "B"
    return "A" if LABELS.get(name) == "A" else "B"


def _three(values: Array) -> tuple[float, float, float]:
    low, middle, top = values.tolist()
    return low, middle, top


def _parts(model: MixedModel, posterior: Posterior, gradient: Array) -> dict[str, Array]:
    """Relative variances by source at each row of `gradient`, shape (3,); nodes of little weight are passed over."""
    p, seen = model.basis.size, model.seen
    told = np.flatnonzero(posterior.weights >= NEGLIGIBLE * posterior.weights.max())
    share, solutions = posterior.weights[told], [posterior.solutions[i] for i in told]
    reach = np.array([gradient @ s.covariance[:p] for s in solutions])  # (nodes, 3, effects)
    per_reading = (reach @ model.design.T * np.array([s.weight for s in solutions])[:, None]) ** 2
    per_effect = np.tensordot(share, reach**2 / np.array([s.prior for s in solutions])[:, None], 1)
    moved, swung = (np.array([s.parts[i] for s in solutions]) for i in (0, 1))
    on_average = np.tensordot(share, per_reading, 1)
    out = {
        "repeatability": np.einsum("k,kij,kj->i", share, per_reading, moved),
        "swinging of the scale": np.einsum("k,kij,kj->i", share, per_reading, swung),
        "resolution of the scale": on_average @ (seen.resolution**2 / 12 / model.row_scale**2),
        "length of one reading": on_average @ model.reading_length_noise,
        "scatter of the scale": on_average @ (seen.u_force**2 / model.row_scale**2),
    }
    groups = {
        "cycle gain": model.gains,
        "hook shift": model.shifts,
        "shape of the curve": np.arange(p - 1),
        "flat length": np.array([p - 1]),
    }
    out |= {name: per_effect[:, places].sum(axis=1) for name, places in groups.items()}
    for place, source in zip(model.common, seen.sources, strict=True):
        out[source.name] = out.get(source.name, 0.0) + per_effect[:, place]
    return out


def hysteresis(curve: FittedCurve, set_length: float | None) -> Hysteresis | None:
    """Energy lost over energy put in, over the lengths both branches were tested at."""
    if curve.unloading is None:
        return None
    start, end = max(curve.loading[0], curve.unloading[0]), min(curve.loading[1], curve.unloading[1])
    if end <= start:
        return None
    length = np.linspace(start, end, 101)
    up, by_up = curve.rows(length, False)
    down, by_down = curve.rows(length, True)
    work_up, work_down = np.trapezoid(up, length), np.trapezoid(down, length)
    d_up = np.trapezoid(up[:, None] * by_up, length, axis=0)
    d_down = np.trapezoid(down[:, None] * by_down, length, axis=0)
    gradient = -d_down / work_up + d_up * work_down / work_up**2
    return Hysteresis(
        start=float(start),
        end=float(end),
        energy_in=float(work_up),
        energy_lost=float(work_up - work_down),
        loss_ratio=float(1 - work_down / work_up),
        u_loss_ratio=float(np.sqrt(gradient @ curve.covariance @ gradient)),
        set=set_length,
    )
