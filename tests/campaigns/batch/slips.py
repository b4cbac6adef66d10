"""`python -m tests.campaigns.batch.slips`: batches with readings a fifth off: how many are found, what still holds."""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.fit.batch.partial_pooling import fit_in_batch
from calib.fit.batch.pooled_fit import band_readings, teach
from calib.records import Run
from tests.campaigns.batch.scoring import PLACES
from tests.campaigns.batch.simulated import draw_batch
from tests.campaigns.batch.worlds import BY_NAME
from tests.campaigns.simulated_bands.scoring import claims

FACTORS = (0.8, 1.25)
SHARE_FEW, SHARE_FULL = 0.10, 0.025  # of readings, by band
SEED = 20261126


@dataclass(frozen=True)
class Planted:
    """One band: what was put in, what was left out, and how often its limits hold."""

    full: bool
    slips: int
    found: int
    accused: int  # good readings left out
    holds: float | None  # share of places; None where the band is measured in full


def try_batch(world: str, number: int) -> list[Planted]:
    """Plant slips in one batch and fit it."""
    rng = np.random.default_rng([SEED, number])
    batch = draw_batch(BY_NAME[world], number)
    planted = [_with_slips(run, i < BY_NAME[world].full, rng) for i, run in enumerate(batch.runs)]
    bands = [band_readings([run]) for run, _ in planted]
    taught = teach(bands)
    out = []
    for band, truth, (_, slips), member in zip(bands, batch.truths, planted, taught.settled.members, strict=True):
        left_out = set(np.flatnonzero(~member.model.use).tolist())
        holds = None if band.full else float(np.mean(claims(fit_in_batch(taught, band), truth, PLACES).holds))
        out.append(Planted(band.full, len(slips), len(slips & left_out), len(left_out - slips), holds))
    return out


def _with_slips(run: Run, full: bool, rng: np.random.Generator) -> tuple[Run, set[int]]:
    """The run with some forces changed, and which readings these are."""
    rows, slips = list(run.rows), set()
    for i, row in enumerate(rows):
        if rng.random() < (SHARE_FULL if full else SHARE_FEW):
            rows[i] = replace(row, force=(row.force or 0.0) * float(rng.choice(FACTORS)))
            slips.add(i)
    return replace(run, rows=tuple(rows)), slips


def table(bands: Sequence[Planted]) -> str:
    """What was found, and what the limits of the bands with three readings hold."""
    few = [b for b in bands if not b.full]
    groups = (
        ("measured in full", [b for b in bands if b.full]),
        ("three readings, none a slip", [b for b in few if b.slips == 0]),
        ("three readings, one a slip", [b for b in few if b.slips == 1]),
        ("three readings, two or three slips", [b for b in few if b.slips > 1]),
    )
    lines = ["| bands | number | slips | found | good ones left out | held |", "|---|---|---|---|---|---|"]
    for name, group in groups:
        slips, found, accused = (sum(n) for n in zip(*((b.slips, b.found, b.accused) for b in group), strict=True))
        shares = np.array([b.holds for b in group if b.holds is not None])
        held = f"{shares.mean():.3f} +- {shares.std() / len(shares) ** 0.5:.3f}" if len(shares) else "-"
        lines.append(f"| {name} | {len(group)} | {slips} | {found} | {accused} | {held} |")
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.batch.slips", description=__doc__)
    parser.add_argument("--batches", type=int, default=40)
    parser.add_argument("--world", default="tube", choices=sorted(BY_NAME))
    wanted = parser.parse_args()
    print(table([band for n in range(wanted.batches) for band in try_batch(wanted.world, n)]))
