"""Scores a batch fitted together against the truth: the bands with few readings, and which band was named odd."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calib.fit.batch import band_readings, teach
from calib.fit.borrowing import fit_in_batch
from calib.records import Array
from tests.batch.simulated import BatchWorld, draw_batch
from tests.simulated_bands.scoring import Claim, claims

PLACES = np.linspace(0, 1, 12)


@dataclass(frozen=True)
class Outcome:
    """One batch: what is claimed of its small bands, who was called odd, who was."""

    claims: tuple[Claim, ...]
    called_odd: tuple[int, ...]
    odd: int | None
    accused: int  # good readings left out


def try_batch(world: BatchWorld, number: int) -> Outcome:
    """Measure and fit one batch; the odd band's own curve is not scored, its shape is not shared."""
    batch = draw_batch(world, number)
    bands = [band_readings([run]) for run in batch.runs]
    taught = teach(bands)
    fits = [(i, fit_in_batch(taught, band)) for i, band in enumerate(bands) if not band.full]
    scored = tuple(claims(fit, batch.truths[i], PLACES) for i, fit in fits if i != batch.outlying)
    odd = tuple(i for i, member in enumerate(taught.settled.members) if member.odd)
    accused = sum(not member.model.use.all() for member in taught.settled.members)
    return Outcome(scored, odd, batch.outlying, accused)


@dataclass(frozen=True)
class Score:
    """All batches of a world."""

    batches: int
    error: float  # rms, share of the peak
    claimed: float  # mean u, share of the peak
    coverage: float
    at_places: Array  # both branches, low to top
    error_over_u: float
    named: float  # share of batches in which the odd band, and no other, was named
    false_alarm: float  # share of batches in which a band was named that is not odd
    accused: float  # readings left out a batch


def score(outcomes: Iterable[Outcome]) -> Score:
    """Pool the outcomes of one world."""
    every = list(outcomes)
    all_claims = [c for o in every for c in o.claims]
    holds = np.array([c.holds for c in all_claims])
    return Score(
        batches=len(every),
        error=_rms(c.error / c.peak for c in all_claims),
        claimed=float(np.mean([c.u / c.peak for c in all_claims])),
        coverage=float(holds.mean()),
        at_places=holds.mean(axis=0),
        error_over_u=_rms(c.error / c.u for c in all_claims),
        named=float(np.mean([o.odd is not None and set(o.called_odd) == {o.odd} for o in every])),
        false_alarm=float(np.mean([bool(set(o.called_odd) - {o.odd}) for o in every])),
        accused=float(np.mean([o.accused for o in every])),
    )


def _rms(values: Iterable[Array]) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))
