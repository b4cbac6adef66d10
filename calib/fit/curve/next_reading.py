"""Which reading would lower the uncertainty most, how low it can get at all, and what stands in the way.

A reading not taken yet is a row of the same linear model: what it would do to the covariance does not depend on what it
will show. The aim is the loading pull, at one length or everywhere between two: then the worst of them counts.
Nothing is asked here and no file is known.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calib.fit.curve import outliers
from calib.fit.curve import variance_components as spreads
from calib.fit.curve.elastic import StretchRange
from calib.fit.curve.estimate import SLACK, fit_runs
from calib.fit.curve.mixed import TREND_MEAN, Basis, MixedModel
from calib.fit.curve.observations import Observations, observe
from calib.frozen import dataclass
from calib.half_path import offset_over
from calib.records import Array, BranchName, Row, Run

LEAST_LENGTHS = 3  # a curve needs
WORTH_A_CYCLE = 0.9  # of the variance another cycle would leave: below it, going on in this one is not enough
MANY_CYCLES = 24  # as good as without end
TWO_SIDED = 1.96
FIRST_LEVEL = 4.6  # ln of 100 N: for a plan on paper, where only relative effects matter
ENOUGH_OF_BEST = 1.15  # times what no number of readings can better: more are wasted
MOST_ON_PAPER = 30


@dataclass(frozen=True)
class Aim:
    """What is wanted: the loading pull, to a relative 95 % half-width."""

    length: float  # [m] half-path
    relative: float
    places: tuple[float, ...]  # [m] as taped, rising: where readings may be taken
    way_back: bool = True
    spots: tuple[float, ...] = ()  # [m] half-path: where it is to be so well known; empty: at the length alone

    @property
    def everywhere(self) -> Array:
        """Half-path lengths at which the pull is to be known. [m]"""
        return np.array(self.spots or (self.length,))


@dataclass(frozen=True)
class Reading:
    """One to be taken."""

    cycle: int
    branch: BranchName
    length: float  # [m] as taped


@dataclass(frozen=True)
class Outlook:
    """Where a calibration stands, and what would help."""

    relative: float  # 95 % half-width of the pull where it is known worst, over the pull
    best: float  # what it would be after readings without end
    hindrance: str  # the largest source of that
    next: Reading


def first_readings(aim: Aim) -> tuple[Reading, ...]:
    """What any curve needs: the shortest place, the one nearest the aim, and the longest."""
    low, *_, top = aim.places
    middle = aim.places[len(aim.places) // 2]
    return tuple(Reading(1, "loading", x) for x in (low, middle, top))


def stated(run: Run, aim: Aim) -> float:
    """The relative 95 % half-width that a fit of the run states, where it is widest.

    Raises:
        DataError: It cannot be fitted yet.
    """
    table = fit_runs([run]).curve.loading
    force, u95 = (np.interp(aim.everywhere, table.length, v) for v in (table.force, table.u95))
    return float(np.max(u95 / force))


def outlook(run: Run, aim: Aim, *, on_paper: bool = False) -> Outlook:
    """What the readings so far leave open at the aim, and which one should come next.

    Args:
        run: With the readings so far; may have none.
        aim: What is wanted.
        on_paper: The readings were only planned: what they show is ignored, and spreads are as beforehand.
    """
    candidates = _candidates(run, aim)
    nodes = _Nodes.from_run(run, aim, candidates, on_paper=on_paper or not run.readings)
    now, after = nodes.variances()
    choice = _cheapest(candidates, after.max(axis=0), run)
    best, hindrance = nodes.best(run, aim)
    return Outlook(TWO_SIDED * float(now.max()) ** 0.5, TWO_SIDED * best**0.5, hindrance, choice)


@dataclass(frozen=True)
class PaperPlan:
    """Readings that should do, before any is taken."""

    readings: tuple[Reading, ...]
    relative: float  # 95 % half-width expected after them
    best: float
    hindrance: str


def paper_plan(run: Run, aim: Aim, most: int = MOST_ON_PAPER) -> PaperPlan:
    """Choose readings one by one as a recording would, with nothing known of how they scatter.

    Args:
        run: A head; without readings.
        aim: What is wanted.
        most: Readings.
    """
    readings = list(first_readings(aim))
    while True:
        ahead = outlook(_with_readings(run, readings), aim, on_paper=True)
        done = ahead.relative <= aim.relative or ahead.relative <= ENOUGH_OF_BEST * ahead.best
        if done or len(readings) >= most:
            return PaperPlan(tuple(readings), ahead.relative, ahead.best, ahead.hindrance)
        readings.append(ahead.next)


def _candidates(run: Run, aim: Aim) -> list[Reading]:
    """Readings that could come next: further out or back in this cycle, or anything out in a new one."""
    last = run.readings[-1] if run.readings else None
    out = [Reading(_last_cycle(run) + 1, "loading", x) for x in aim.places]
    if last is None or last.cycle is None or last.length is None:
        return out
    top = max(r.length or 0.0 for r in run.readings if r.cycle == last.cycle)
    gap = 0.5 * min(np.diff(aim.places))
    if last.branch == "loading":
        out += [Reading(last.cycle, "loading", x) for x in aim.places if x > last.length + gap]
    below = last.length if last.branch == "unloading" else top
    if aim.way_back:
        out += [Reading(last.cycle, "unloading", x) for x in aim.places if x < below - gap]
    return out


def _last_cycle(run: Run) -> int:
    return max((r.cycle or 0 for r in run.readings), default=0)


def _cheapest(candidates: Sequence[Reading], after: Array, run: Run) -> Reading:
    """The most useful reading; one of this cycle where it is almost as useful as hooking the band again."""
    order = [candidates[i] for i in sorted(range(len(after)), key=lambda i: float(after[i]))]
    here = [c for c in order if c.cycle == _last_cycle(run)]
    if here and after.min() > WORTH_A_CYCLE * after[candidates.index(here[0])]:
        return here[0]
    return order[0]


def _with_readings(run: Run, readings: Sequence[Reading]) -> Run:
    """The run as if more readings had been taken; what they show is ignored."""
    number = max((r.number for r in run.rows), default=0)
    rows = [
        Row(number + i, cycle=r.cycle, branch=r.branch, length=r.length, force=0.0, mass=None)
        for i, r in enumerate(readings, 1)
    ]
    return replace(run, rows=(*run.rows, *rows))


@dataclass(frozen=True)
class _Known:
    """The curve and the spreads, as far as they are known."""

    beta: Array
    weights: Array  # of the nodes
    thetas: Array  # logarithms of the spreads at each node
    between: Array  # (spots,) relative variance from not knowing the spreads


@dataclass(frozen=True)
class _Nodes:
    """The model with readings taken and not taken, at some sets of spreads."""

    model: MixedModel
    taken: int
    at: Array  # (spots, effects) d ln F
    known: _Known

    @classmethod
    def from_run(cls, run: Run, aim: Aim, candidates: Sequence[Reading], *, on_paper: bool) -> "_Nodes":
        whole = observe([_with_readings(run, candidates)])
        taken = len(run.readings)
        basis = _basis(whole, aim)
        so_far = whole.where(np.arange(len(whole)) < taken)
        known = _beforehand(basis, aim) if on_paper else _known_so_far(basis, so_far, aim)
        model = MixedModel(basis, whole)
        model.use = np.arange(len(whole)) < taken
        model.linearise(known.beta)
        return cls(model, taken, _rows(model, aim, known.beta), known)

    def variances(self) -> tuple[Array, Array]:
        """Relative variance now, (spots,), and after each of the readings not taken, (spots, readings)."""
        now = np.zeros(len(self.at))
        after = np.zeros((len(self.at), len(self.model.seen) - self.taken))
        rows = self.model.design[self.taken :]
        for weight, theta in zip(self.known.weights, self.known.thetas, strict=True):
            solution = self.model.solve(theta)
            reach = solution.covariance @ self.at.T
            here = np.einsum("ij,ji->i", self.at, reach)
            noise = solution.noise[self.taken :] + np.einsum("ij,jk,ik->i", rows, solution.covariance, rows)
            now += weight * here
            after += weight * (here[:, None] - (rows @ reach).T ** 2 / noise)
        return now + self.known.between, after + self.known.between[:, None]

    def best(self, run: Run, aim: Aim) -> tuple[float, str]:
        """Relative variance that no number of readings can better where it is worst, and what is most of it."""
        first = _last_cycle(run) + 1
        places = (aim.places[0], *aim.places[1:-1:2], aim.places[-1])
        many = [Reading(first + i, "loading", x) for i in range(MANY_CYCLES) for x in places]
        model = MixedModel(self.model.basis, observe([_with_readings(run, many)]))
        model.linearise(self.known.beta)
        rows = _rows(model, aim, self.known.beta)
        solution = model.solve(self.known.weights @ self.known.thetas)
        at = max(rows, key=lambda row: float(row @ solution.covariance @ row))
        reach = solution.covariance @ at
        flat = self.model.basis.size - 1
        parts = {"the flat length": reach[flat] ** 2 / solution.prior[flat]}
        for place, source in zip(model.common, model.seen.sources, strict=True):
            parts[f"the {source.name}"] = parts.get(f"the {source.name}", 0.0) + reach[place] ** 2
        return float(at @ reach), max(parts, key=lambda name: parts[name])


def _rows(model: MixedModel, aim: Aim, beta: Array) -> Array:
    """D ln F where it is to be known by every effect, (spots, effects); only the curve's own coefficients count."""
    at = np.zeros((len(aim.everywhere), model.design.shape[1]))
    at[:, : model.basis.size] = model.basis.log_force(aim.everywhere, False, beta)[1]
    return at


def _basis(seen: Observations, aim: Aim) -> Basis:
    stretch = seen.length / seen.rest
    low, top = float(stretch.min()), float(stretch[~seen.unloading].max())
    first, last = float(aim.everywhere.min()) / seen.rest, float(aim.everywhere.max()) / seen.rest
    return Basis(seen.rest, StretchRange(max(min(low, first), SLACK), max(top, last)), aim.way_back)


def _beforehand(basis: Basis, aim: Aim) -> _Known:
    middle, sd = spreads.prior_of(spreads.names_of(basis))
    unit = spreads.fixed_nodes(len(middle))
    beta = np.zeros(basis.size)
    beta[: len(TREND_MEAN)] = TREND_MEAN
    beta[0] = FIRST_LEVEL
    thetas = middle + sd * unit
    return _Known(beta, np.full(len(unit), 1 / len(unit)), thetas, np.zeros(len(aim.everywhere)))


def _known_so_far(basis: Basis, so_far: Observations, aim: Aim) -> _Known:
    model = MixedModel(basis, so_far)
    start = outliers.robust_start(model)
    beta, model.use = start.beta, start.use
    theta = spreads.start_of(model.spreads)
    for _ in range(3):
        beta = model.step(beta, theta)
    for _ in range(2):
        model.linearise(beta)
        theta = spreads.mode(model, theta)
        beta = model.step(beta, theta)
    model.linearise(beta)
    posterior = spreads.integrate(model, theta)
    shift = posterior.shifts @ _rows(model, aim, beta).T  # (nodes, spots)
    between = posterior.weights @ (shift - posterior.weights @ shift) ** 2
    return _Known(beta, posterior.weights, posterior.nodes, between)


def places_over(run: Run, over: tuple[float, float], count: int, step: float) -> tuple[float, ...]:
    """Evenly spaced lengths as taped over a range of half-path lengths, round to a step. [m]"""
    head = run.head
    offset = offset_over(head.length.kind, head.length.fitting_diameters, head.band.thickness)
    even = np.linspace(over[0] - offset, over[1] - offset, count)
    return tuple(sorted({round(round(x / step) * step, 6) for x in even.tolist()}))
