"""Long recordings made short: repeats at one length, or bins of a trace, become one observation each.

A group counts as one reading with the same noise model: its noise is learnt from the scatter between groups, so the
autocorrelated samples of a trace do not shrink the uncertainty by the root of their number.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.fit.curve.elastic import LEAST_STRETCH, ln_g
from calib.fit.curve.observations import Observations
from calib.records import Array

BINS = 40  # a sweep
ALWAYS_ABOVE = 400  # observations in all


def shorten(seen: Observations) -> Observations:
    """Group where there are more readings than the model gains from; otherwise return them as they are."""
    sweeps = 2 * len(np.unique(seen.cycle))
    if len(seen) <= BINS * sweeps and len(seen) <= ALWAYS_ABOVE:
        return seen
    groups = list(_groups(seen))
    length = np.array([seen.length[g].mean() for g in groups])
    pull = [_median_at(seen, g, at) for g, at in zip(groups, length, strict=True)]
    firsts = np.array([g[0] for g in groups])
    return replace(
        seen,
        cycle=seen.cycle[firsts],
        unloading=seen.unloading[firsts],
        length=length,
        pull=np.array(pull),
        resolution=seen.resolution[firsts],
        u_force=seen.u_force[firsts],
        u_length=seen.u_length[firsts],
        sources=tuple(s.take(groups) for s in seen.sources),
        rows=tuple(tuple(r for i in g for r in seen.rows[i]) for g in groups),
    )


def _groups(seen: Observations) -> Iterator[NDArray[np.int64]]:
    for cycle in np.unique(seen.cycle):
        for unloading in (False, True):
            here = np.flatnonzero((seen.cycle == cycle) & (seen.unloading == unloading))
            if not len(here):
                continue
            length = seen.length[here]
            label = np.round(length, 4)
            if len(np.unique(label)) > BINS:
                label = np.floor(_progress(length, seen.pull[here]) * (BINS - 1e-6))
            order = np.argsort(label, kind="stable")
            edges = np.flatnonzero(np.diff(label[order])) + 1
            yield from np.split(here[order], edges)


def _progress(length: Array, pull: Array) -> Array:
    """Where each sample of a trace lies between its ends, 0..1: half by length, half by force.

    Bins even in this stay short where the force climbs steeply. The force is a running median of five, so a spike
    does not stretch it.
    """
    order = np.argsort(length, kind="stable")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(np.pad(pull[order], 2, mode="edge"), 5), axis=1)
    climb = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(smooth)))])
    if not climb[-1]:
        climb = np.linspace(0.0, 1.0, len(climb))
    out = np.empty(len(length))
    out[order] = 0.5 * climb / climb[-1]
    return np.asarray(out + 0.5 * (length - length.min()) / (np.ptp(length) + 1e-12))


def _median_at(seen: Observations, group: NDArray[np.int64], at: float) -> float:
    """Median pull of a group, each reading carried along the neo-Hookean law to the group's mean length."""
    stretch = np.maximum(np.append(seen.length[group], at) / seen.rest, LEAST_STRETCH)
    logs = ln_g(stretch)
    return float(np.median(seen.pull[group] * np.exp(logs[-1] - logs[:-1])))
