"""Propagation of distributions: draws through a model, and the interval they leave. The draws are the caller's.

After JCGM 101:2008. Randomness comes in as a seeded Generator; nothing global is used.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from calib.records import Array

Draw = Callable[[np.random.Generator, int], Array]


@dataclass(frozen=True)
class Propagated:
    """What the draws say of the result."""

    mean: float
    u: float
    low: float
    high: float


def propagate(
    model: Callable[..., Array],
    inputs: Sequence[Draw],
    rng: np.random.Generator,
    *,
    draws: int = 200_000,
    level: float = 0.95,
    shortest: bool = False,
) -> Propagated:
    """Mean, standard uncertainty and coverage interval of a model's result.

    Args:
        model: Result of the inputs, arrays of shape (draws,).
        inputs: One sampler an input, independent of one another.
        rng: Seeded generator.
        draws: Number of trials (JCGM 101 clause 7.2).
        level: Probability inside the interval.
        shortest: The shortest interval instead of the one that leaves equal tails.
    """
    result = np.sort(np.asarray(model(*(draw(rng, draws) for draw in inputs)), dtype=float))
    low, high = shortest_interval(result, level) if shortest else symmetric_interval(result, level)
    return Propagated(float(result.mean()), float(result.std(ddof=1)), low, high)


def symmetric_interval(ordered: Array, level: float) -> tuple[float, float]:
    """Interval of ordered draws with equal probability on either side (JCGM 101 clause 7.7.2)."""
    inside = _count_inside(len(ordered), level)
    first = (len(ordered) - inside) // 2
    return float(ordered[first]), float(ordered[first + inside - 1])


def shortest_interval(ordered: Array, level: float) -> tuple[float, float]:
    """Shortest interval of ordered draws (JCGM 101 clause 7.7.4)."""
    inside = _count_inside(len(ordered), level)
    widths = ordered[inside - 1 :] - ordered[: len(ordered) - inside + 1]
    first = int(widths.argmin())
    return float(ordered[first]), float(ordered[first + inside - 1])


def _count_inside(draws: int, level: float) -> int:
    return min(draws, max(2, int(np.floor(level * draws + 0.5))))


def normal(mean: float, u: float) -> Draw:
    """A sampler of a normal distribution."""
    return lambda rng, n: rng.normal(mean, u, n)


def rectangular(mean: float, u: float) -> Draw:
    """A sampler of a rectangular distribution with a given standard deviation (half-width u sqrt 3)."""
    return lambda rng, n: rng.uniform(mean - u * 3**0.5, mean + u * 3**0.5, n)
