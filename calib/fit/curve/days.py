"""Runs of several days: a band pulls a little more or less from day to day, and the curve is the mean over days.

Each day has one gain, alike in all its readings. How large such gains are is not known beforehand, and two days alone
say little of it; so the fit is done for a few supposed sizes, and these are mixed by how well each explains the
readings. What the days say of the size stands in the profile and in the limits of the next set.

A curve of one day is the curve of that day. Another day then differs from it by the root of two of the size.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from calib import assumptions
from calib.finding import Finding
from calib.fit.curve.mixed import MixedModel
from calib.fit.curve.observations import Observations
from calib.fit.curve.slips import Verdict
from calib.fit.curve.sources import Source
from calib.fit.curve.variance_components import Posterior, mix
from calib.frozen import dataclass
from calib.records import Array, Run

NAME = "from day to day"
PLACES = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])  # of the supposed sizes, in sds of the logarithm of the prior


@dataclass(frozen=True)
class BetweenDay:
    """How much the band's pull differs from one day to another: as a gain of one day about the mean over days."""

    size: float  # root mean square over what is credible, relative
    u: float  # how well the size is known
    days: int  # learnt from; 1 where it is assumed

    @property
    def of_next_day(self) -> float:
        """How much another day differs from the curve: from the mean over days, or from the one day it is of."""
        return self.size if self.days > 1 else self.size * 2**0.5


def assumed() -> BetweenDay:
    """What is taken where one day alone was seen: the prior."""
    sizes, shares = _prior()
    return _summed(sizes, shares, 1)


def _prior() -> tuple[Array, Array]:
    middle, width = assumptions.value("between_day_gain"), assumptions.value("between_day_gain_log_sd")
    shares = np.exp(-0.5 * PLACES**2)
    return middle * np.exp(width * PLACES), shares / shares.sum()


def _summed(sizes: Array, shares: Array, days: int) -> BetweenDay:
    size = float(np.sqrt(shares @ sizes**2))
    return BetweenDay(size, float(np.sqrt(shares @ (sizes - shares @ sizes) ** 2)), days)


def day_of(run: Run) -> str | None:
    """The day a run was begun, None where it does not say."""
    return run.head.started.date().isoformat() if run.head.started else None


def with_days(seen: Observations, runs: Sequence[Run]) -> Observations:
    """The same with a source of unit size for each day, where there are several. A run without a date is its own."""
    labels = [day_of(run) or f"run {i + 1}" for i, run in enumerate(runs)]
    days = list(dict.fromkeys(labels[members[0][0]] for members in seen.rows))
    if len(days) < 2:
        return seen
    at = np.array([days.index(labels[members[0][0]]) for members in seen.rows])
    flat = np.zeros(len(seen))
    added = [Source(NAME, None, flat, (at == i).astype(float), flat, flat, f"day:{day}") for i, day in enumerate(days)]
    return replace(seen, sources=(*seen.sources, *added))


def weigh(model: MixedModel, judge: Callable[[], Verdict]) -> tuple[Verdict, BetweenDay]:
    """Judge the readings for each supposed size, and mix.

    Args:
        model: With the days' sources of unit size; their sizes are set here.
        judge: What finds the curve, the spreads and the slips of the model as it stands.
    """
    whole = model.seen
    days = sum(source.name == NAME for source in whole.sources)
    if not days:
        return judge(), assumed()
    sizes, shares = _prior()
    verdicts, uses = [], []
    for size in sizes:
        _take(model, whole, float(size))
        verdicts.append(judge())
        uses.append(model.use)
    logs = np.log(shares) + [v.log_evidence for v in verdicts]
    weight = np.exp(logs - logs.max())
    weight /= weight.sum()
    most = int(weight.argmax())
    best, model.use = verdicts[most], uses[most]
    _take(model, whole, float(sizes[most]))
    model.linearise((best.posterior.weights @ best.posterior.shifts + model.mean)[: model.basis.size])
    slip = sum((w * v.slip for w, v in zip(weight, verdicts, strict=True)), np.zeros(len(whole)))
    mixed = replace(best, posterior=mix([v.posterior for v in verdicts], weight), slip=slip)
    return mixed, _summed(sizes, weight, days)


def _take(model: MixedModel, whole: Observations, size: float) -> None:
    """Set the model's days to a supposed size."""
    model.seen = replace(whole, sources=tuple(_sized(source, size) for source in whole.sources))


def _sized(source: Source, size: float) -> Source:
    return replace(source, gain=source.gain * size) if source.name == NAME else source


def still_falling(model: MixedModel, posterior: Posterior) -> float:
    """How far the next cycle would lie below the mean of those seen, if they go on falling as from first to last.

    Relative; zero where they do not fall, and where there is one. A band that is not conditioned loses some of its pull
    in every cycle, so the next one is not like the mean of the last. It falls ever less, so this errs wide.
    """
    gains = posterior.weights @ posterior.shifts[:, model.gains]
    if len(gains) < 2 or any(source.name == NAME for source in model.seen.sources):
        return 0.0
    a_cycle = float(gains[0] - gains[-1]) / (len(gains) - 1)
    return max(a_cycle, 0.0) * (len(gains) + 1) / 2


def undated(runs: Sequence[Run]) -> list[Finding]:
    """Runs that are joined with others and do not say of which day they are."""
    names = [run.name for run in runs if day_of(run) is None]
    if len(runs) < 2 or not names:
        return []
    return [Finding("no-date", f"{', '.join(names)}: without a date in the head a run is taken for a day of its own")]
