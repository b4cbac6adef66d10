"""A rig's bands drawn at random where one of them may be slack within its uncertainty: a pull cannot fall below none.

After JCGM 101. Everything with one key is drawn once and moves all its bands together.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from statistics import NormalDist

import numpy as np

from calib.frozen import dataclass
from calib.records import Array
from calib.use.rig.rig_curve import RigCurve
from calib.use.rig.rig_file import Bar, RigBand
from calib.use.rig.rig_geometry import BandPath, Loop, Offsets, run_of

DRAWS = 4000


@dataclass(frozen=True)
class Strung:
    """One band in its rig, one way, at each height."""

    band: RigBand
    bar: Bar
    loop: Loop
    run: BandPath
    curve: RigCurve
    sign: float  # -1 where it pulls up
    offs: Mapping[str, Offsets]  # what may be off by one standard deviation, by key

    def down(self, run: BandPath) -> Array:
        """Pull towards the anchor with the band running a little otherwise. [N]"""
        return self.curve.pull(run.length, self.curve.share) * run.down


def drawn_pulls(bands: Sequence[Strung], heights: Array, where: Sequence[int]) -> list[dict[int, Array]]:
    """Draws of each band's pull downward at some of the heights. [N]

    Args:
        bands: All of the rig.
        heights: Of the sleeve's centre, shape (n,). [m]
        where: Which of them.
    """
    found: list[dict[int, Array]] = [{} for _ in bands]
    if not where:
        return found
    keys = sorted({key for s in bands for key in (*s.offs, *s.curve.keys)})
    normal = dict(zip(keys, _draws(len(keys))[0], strict=True))
    for strung, into in zip(bands, found, strict=True):
        own, off = np.array([normal[key] for key in strung.curve.keys]), _offset(strung, normal)
        for at in where:
            into[at] = _drawn(strung, heights[at : at + 1], at, off, own)
    return found


def _offset(strung: Strung, normal: Mapping[str, Array]) -> Offsets:
    off = {"grip": 0.0 if strung.band.arrangement == "choked" else _draws(1)[1]}
    for key, one in strung.offs.items():
        off |= {name: value * normal[key] for name, value in vars(one).items() if value}
    return Offsets(**off)


def _drawn(strung: Strung, height: Array, at: int, off: Offsets, own: Array) -> Array:
    share = float(strung.curve.share[at])
    run = run_of(strung.band, strung.bar, height, strung.loop, off)
    found: Array = strung.sign * np.maximum(strung.curve.drawn(run.length, share, own), 0.0) * run.down
    return found


@cache
def _draws(count: int) -> tuple[Array, Array]:
    """Standard normal draws, one row a source, and shares from 0 to 1: each a shuffle of its quantiles.

    Latin hypercube (McKay, Beckman & Conover 1979, from memory): for sums it takes far fewer draws.
    """
    rng = np.random.default_rng(20260301)
    shares = (np.arange(DRAWS) + 0.5) / DRAWS
    quantiles = np.array([NormalDist().inv_cdf(share) for share in shares])
    shuffled = rng.permutation(shares)
    return rng.permuted(np.tile(quantiles, (count, 1)), axis=1), shuffled
