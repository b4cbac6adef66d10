"""A check of a scale with known loads: which curve the readings ask for, its correction, and what to know about it.

Loads come as masses, g is passed in; no file is opened and nothing is asked here. docs/scale_check.md has the trials.
"""

from collections.abc import Sequence
from dataclasses import replace
from math import sqrt

import numpy as np

from calib import assumptions
from calib.fit.gear.known_loads import KnownLoads
from calib.fit.gear.scale_correction import (
    LackOfFit,
    LeastSquares,
    Seen,
    Weighed,
    correction_of,
    lack_of_fit,
    least_squares,
    weigh_with_prior,
)
from calib.fit.gear.weighings import (
    Weighing,
    down_less_up,
    refuse_nonsense,
    relative_reversibility,
    repeatability,
    zero_return,
)
from calib.frozen import dataclass
from calib.records import Correction
from calib.units import G_STANDARD

FAR_APART = 2.0  # standard deviations of check and maker's word together
SHARE_TO_SAY = 0.2
SIGNIFICANT = 0.05  # of the lack-of-fit test
FEWEST_FOR_QUADRATIC = 5  # distinct loads: four leave one degree of freedom to judge a bend by


@dataclass(frozen=True)
class ScaleCheck:
    """What one check says of a scale."""

    correction: Correction
    weighings: tuple[Weighing, ...]
    loads: KnownLoads
    g: float  # [m/s2] that turned masses into forces; 1 where the loads are forces
    plain: LeastSquares
    line_fit: LackOfFit | None  # lack of fit of the line; None where no load was read twice
    quadratic_fit: LackOfFit | None
    repeatability: float | None  # [N] sd of readings of one load on one branch
    relative_reversibility: float | None  # relative, mean of |down - up| / load, after ISO 376
    zero_return: float | None  # [N] last reading of nothing minus the first
    prior_share: float = 0.0  # of the gain, from what a scale never checked is trusted to
    remarks: tuple[str, ...] = ()

    @property
    def order(self) -> int:
        """1 for a line, 2 with a bend."""
        return 2 if self.correction.coefficients[2] else 1

    def excess(self, force: float) -> float:
        """How much the scale, zeroed, shows above a true force. [N]"""
        return self.shown_for(force) - force

    def shown_for(self, force: float) -> float:
        """What the scale, zeroed, shows for a true force. [N]"""
        _, gain, quadratic = self.correction.coefficients
        shown = force / gain
        for _ in range(50):
            slope = gain + 2 * quadratic * shown
            shown -= (gain * shown + quadratic * shown * shown - force) / slope
        return shown

    def u(self, shown: float) -> float:
        """Uncertainty (k = 1; 1.96 of it hold 95 %) of the corrected pull for a shown value, zero taken off. [N]"""
        row = np.array([0.0, shown, shown * shown])
        return sqrt(max(float(row @ np.array(self.correction.covariance) @ row), 0.0))


def check_scale(
    weighings: Sequence[Weighing],
    loads: KnownLoads,
    resolution: float,
    checked_on: str,
    g: float = G_STANDARD,
    u_gain_before: float | None = assumptions.BY_NAME["u_gain_unchecked"].value,
) -> ScaleCheck:
    """Fit the correction of a scale.

    Args:
        weighings: In the order they were read.
        loads: The set of known loads.
        resolution: One step of the display. [N]
        checked_on: ISO date.
        g: Of the place, or the standard value where the place is not known. [m/s2] The result measures in plates: at
            the same place g cancels, so no uncertainty of g is added. Pass 1 where the loads are forces.
        u_gain_before: What the gain is trusted to before the check, relative; None where it may be anything.

    Raises:
        DataError: Too few loads, or numbers that no scale shows.
    """
    refuse_nonsense(weighings)
    seen = Seen.from_weighings(weighings, loads, resolution, g)
    line_fit = lack_of_fit(seen, 2)
    bend = line_fit is not None and seen.levels >= FEWEST_FOR_QUADRATIC and line_fit.p < SIGNIFICANT
    order = 3 if bend else 2
    quadratic_fit = lack_of_fit(seen, 3) if seen.levels > 3 else None
    plain = least_squares(seen, order)
    correction = correction_of(seen, order, loads, checked_on, plain)
    weighed = Weighed(correction, 0.0, 0.0)
    if u_gain_before is not None:
        plates_right = 1.0 if g == 1 else g / G_STANDARD  # so that g cancels, whatever place a scale was adjusted at
        weighed = weigh_with_prior(correction, seen.unit, plates_right, u_gain_before)
    check = ScaleCheck(
        weighed.correction,
        tuple(weighings),
        loads,
        g,
        plain,
        line_fit,
        quadratic_fit,
        repeatability(weighings),
        relative_reversibility(weighings),
        zero_return(weighings),
        weighed.share,
    )
    return replace(check, remarks=_remarks(check, quadratic_fit if bend else line_fit, bend, weighed.apart))


def _remarks(check: ScaleCheck, fit: LackOfFit | None, bend: bool, apart: float) -> tuple[str, ...]:
    """What the user should know about this check, most telling first."""
    out: list[str] = []
    if apart > FAR_APART:
        out.append(
            "the scale is off by more than the 1 % scales are commonly good to: is it set right, and are the "
            "loads what you take them for?"
        )
    if check.prior_share > SHARE_TO_SAY:
        out.append(
            "these loads are hardly better known than an unchecked scale (1 %), so both are combined: "
            f"{100 * (1 - check.prior_share):.0f} % of the gain is from this check. Weigh the loads on a shop scale "
            "and check again"
        )
    if bend and fit is not None and fit.p < SIGNIFICANT:
        out.append("neither a line nor a curve fits the means of the loads: is one of them not what you take it for?")
    elif bend:
        out.append("the scale's gain changes with load, so the correction has a bend")
    levels = {w.load for w in check.weighings}
    if len(levels) < FEWEST_FOR_QUADRATIC:
        out.append(f"with {len(levels)} different loads, zero included, a bend of the scale cannot be seen")
    if not down_less_up(check.weighings):
        out.append("read going up only: nothing is known about going down")
    worst = _worst(check)
    if worst is not None:
        out.append(worst)
    return tuple(out)


def _worst(check: ScaleCheck) -> str | None:
    """Name the one reading that lies far from the rest."""
    zero, gain, quadratic = check.correction.coefficients
    rest = np.array([zero + gain * w.shown + quadratic * w.shown**2 - w.nominal * check.g for w in check.weighings])
    size = np.abs(rest - np.median(rest))
    worst = int(size.argmax())
    usual = float(np.median(size))
    if len(rest) < 6 or size[worst] < 8 * max(usual, check.correction.residual_sd / 4):
        return None
    w = check.weighings[worst]
    way = "up" if w.branch == "loading" else "down"
    return f"reading {worst + 1} ({w.nominal:g} known, on the way {way}) stands out: was it misread?"
