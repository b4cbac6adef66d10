"""Scores a batch fitted together against the truth: the bands with few readings, and which band was named odd."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from calib.fit.batch.partial_pooling import fit_in_batch
from calib.fit.batch.pooled_fit import band_readings, teach
from calib.profile.build import profile_of
from calib.profile.document import Profile
from calib.records import Array
from calib.use.bands.pair import difference_u
from calib.use.bands.shared_lengths import common_lengths, curve_at
from tests.campaigns.batch.simulated import BatchWorld, draw_batch
from tests.campaigns.simulated_bands.measuring import TrueBand
from tests.campaigns.simulated_bands.scoring import Claim, claims

PLACES = np.linspace(0, 1, 12)


@dataclass(frozen=True)
class Outcome:
    """One batch: what is claimed of its small bands, who was called odd, who was."""

    claims: tuple[Claim, ...]
    called_odd: tuple[int, ...]
    odd: int | None
    accused: int  # good readings left out
    differences: tuple["Difference", ...]  # of neighbours among them


@dataclass(frozen=True)
class Difference:
    """Pull of one small band less that of another while loading, at the same lengths."""

    error: Array  # [N]
    u: Array  # [N] what both borrowed taken as shared
    u_apart: Array  # [N] the same as if each had borrowed by itself

    @classmethod
    def of(cls, two: tuple[Profile, Profile], true: tuple[Array, Array], lengths: Array) -> "Difference":
        """Of two stored profiles."""
        a, b = (curve_at(profile, lengths) for profile in two)
        apart = replace(
            b, sources={f"other {key}" if key.startswith("batch:") else key: s for key, s in b.sources.items()}
        )
        return cls(a.force - b.force - (true[0] - true[1]), difference_u(a, b), difference_u(a, apart))


def try_batch(world: BatchWorld, number: int) -> Outcome:
    """Measure and fit one batch; the odd band's own curve is not scored, its shape is not shared."""
    batch = draw_batch(world, number)
    bands = [band_readings([run]) for run in batch.runs]
    taught = teach(bands)
    fits = [(i, fit_in_batch(taught, band)) for i, band in enumerate(bands) if not band.full]
    scored = tuple(claims(fit, batch.truths[i], PLACES) for i, fit in fits if i != batch.outlying)
    odd = tuple(i for i, member in enumerate(taught.settled.members) if member.odd)
    accused = sum(not member.model.use.all() for member in taught.settled.members)
    alike = [(profile_of(fit, "test"), batch.truths[i]) for i, fit in fits if i != batch.outlying]
    return Outcome(scored, odd, batch.outlying, accused, tuple(_differences(alike)))


def _differences(bands: Sequence[tuple[Profile, TrueBand]]) -> Iterator[Difference]:
    for (a, true_a), (b, true_b) in pairwise(bands):
        lengths = common_lengths([a, b], None, len(PLACES))
        yield Difference.of((a, b), (true_a.loading(lengths), true_b.loading(lengths)), lengths)


@dataclass(frozen=True)
class Score:
    """All batches of a world."""

    batches: int
    error: float  # rms, share of the peak
    claimed: float  # mean u, share of the peak
    coverage: float
    u_coverage: float  # standard error from batch to batch
    at_places: Array  # both branches, low to top
    error_over_u: float
    named: float  # share of batches in which the odd band, and no other, was named
    false_alarm: float  # share of batches in which a band was named that is not odd
    accused: float  # readings left out a batch
    apart_held: float  # share of differences of two small bands that lie within 1.96 u
    apart_u: float  # mean u of these differences, over what it is where nothing borrowed is taken as shared


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
        u_coverage=float(np.std([np.mean([c.holds for c in o.claims]) for o in every]) / len(every) ** 0.5),
        at_places=holds.mean(axis=0),
        error_over_u=_rms(c.error / c.u for c in all_claims),
        named=float(np.mean([o.odd is not None and set(o.called_odd) == {o.odd} for o in every])),
        false_alarm=float(np.mean([bool(set(o.called_odd) - {o.odd}) for o in every])),
        accused=float(np.mean([o.accused for o in every])),
        apart_held=float(np.mean([np.abs(d.error) < 1.96 * d.u for o in every for d in o.differences])),
        apart_u=float(np.mean([d.u / d.u_apart for o in every for d in o.differences])),
    )


def _rms(values: Iterable[Array]) -> float:
    return float(np.sqrt(np.mean(np.square(list(values)))))
