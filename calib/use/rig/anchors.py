"""What may go wrong with a rig, with numbers: a band lets go, an anchor lifts, tips or slides, a bar is thrown.

Reminders, not a safety plan: the rules of the place and a qualified person decide. The limits are common practice, no
source; the coefficient of friction is from memory.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from calib.finding import Finding
from calib.records import Array
from calib.units import SHOWN, UNIT, Unit
from calib.use.rig.rig_file import band_name, under_feet
from calib.use.rig.rig_sum import RigPull, WeightedPull, add
from calib.use.rig.statics import Direction, RigLoad

HOLDS_SHARE = 0.5  # of what holds the anchor: caution above
FRICTION = 0.3  # metal or rubber on a dusty floor, on the careful side
UNEQUAL_SHARE = 0.03  # of the load: sides further apart are named
UNEQUAL_KG = 2.0  # sides further apart than this are named however heavy the bar is
FORE_AFT_KG = 2.0  # at the hooks: smaller pulls are not worth a sentence
SHAFT = 0.040  # [m] thinner than this the band lies on the shaft and its knurl, not on the sleeve


class LoadingStep(NamedTuple):
    """One band put on, in the order it goes on; it comes off the other way round."""

    band: int
    least_plates_kg: float  # on the bar before it goes on, so that it stays down on the hooks and all along the lift
    net_kg: float  # on the hooks after it; below zero the bar flies up


def hardest(answer: RigLoad) -> Direction:
    """The way that pulls more; both where only one can be told."""
    return max(answer.known_ways.values(), key=lambda d: float(abs(d.pull.value).max()))


def cautions(answer: RigLoad, unit: Unit = "kg") -> tuple[Finding, ...]:
    """Everything worth a sentence, the worst first.

    Args:
        answer: What the rig does.
        unit: Of the weights in the sentences.
    """
    if not answer.known_ways:
        return ()
    said = _Weights(unit)
    found = [*_lets_go(answer, said), *_lift_off(answer, said), *_anchor(answer, said), *_fore_aft(answer, said)]
    return (*found, *_unequal(answer, said), *_wear(answer))


class _Weights(NamedTuple):
    """Weights as they are said."""

    unit: Unit

    def __call__(self, kg: float) -> str:
        return f"{kg / UNIT[self.unit]:.1f} {self.unit}"


def loading_order(answer: RigLoad) -> tuple[LoadingStep, ...]:
    """Bands from above, the weakest first, with the least plates before each goes on.

    What one set may pull is allowed for, and bands from below are not counted on.
    """
    direction, at = _where_put_on(answer)
    above = [i for i, band in enumerate(answer.rig.band) if band.source == "above"]
    above.sort(key=lambda i: abs(float(direction.bands[i].down[at])))
    steps, total = [], 0.0
    for n, i in enumerate(above):
        total += abs(float(direction.bands[i].down[at])) / answer.gravity
        most = max(_most_up(answer, d, above[: n + 1]) for d in _everywhere(answer))
        steps.append(LoadingStep(i, max(most - answer.rig.bar.mass, 0.0), answer.rig.weight_kg - total))
    return tuple(steps)


def _most_up(answer: RigLoad, direction: Direction, bands: Sequence[int]) -> float:
    """The most that some of the bands may lift in one set. [kg]"""
    parts = [WeightedPull(direction.bands[i], -1.0 / answer.gravity) for i in bands]
    lift = add(parts, len(direction.load.value))
    return float((lift.value + lift.next_u95).max())


def _everywhere(answer: RigLoad) -> list[Direction]:
    """Both ways of the lift, and the hooks where they are given."""
    return [*answer.known_ways.values(), *([answer.hooks] if answer.hooks is not None else [])]


def lifts_off(answer: RigLoad) -> bool:
    """Whether the bands pull up more than what holds them weighs, as far as that is known."""
    anchor = answer.rig.anchor
    known = not anchor.bolted and anchor.holds is not None
    return known and _anchor_load(answer).uplift >= (anchor.holds or 0.0) * answer.gravity


def _where_put_on(answer: RigLoad) -> tuple[Direction, int]:
    """Where bands are put on: on the hooks, or where they pull most if those are not given."""
    if answer.hooks is not None:
        return answer.hooks, 0
    direction = hardest(answer)
    return direction, int(abs(direction.pull.value).argmax())


def _lets_go(answer: RigLoad, said: _Weights) -> list[Finding]:
    direction, found = hardest(answer), []
    for band, pull in zip(answer.rig.band, direction.bands, strict=True):
        low, high = (abs(float(pull.down[at])) / answer.gravity for at in (0, -1))
        side = "the bar" if band.side == "both" else f"the {band.side} side"
        change = "loses" if band.source == "below" else "gains"
        text = f"if {band_name(band)} lets go, {side} {change} {said(low)} at once at the bottom"
        text += f" and {said(high)} at the top"
        found.append(Finding("band-lets-go", text))
    return found


def _lift_off(answer: RigLoad, said: _Weights) -> list[Finding]:
    order = loading_order(answer)
    if not order:
        return []
    found: list[Finding] = []
    low = min(float((d.load.value - d.load.next_u95).min()) for d in _everywhere(answer))
    if low < 0:
        more = f"the bands from above may pull {said(-low)} more than bar and plates weigh"
        found.append(Finding("bar-may-lift", f"{more}: if you let go, the bar flies up"))
    for step in order:
        least = f"at least {said(step.least_plates_kg)} of" if step.least_plates_kg > 0 else "no"
        band = band_name(answer.rig.band[step.band])
        text = f"before {band} goes on, and until it is off, {least} plates are needed on the bar to keep "
        text += f"it down on its hooks and along the lift; {said(step.net_kg)} is then left on the hooks"
        found.append(Finding("loading-order", text))
    return found


class _Load(NamedTuple):
    uplift: float  # [N]
    aside: float  # [N] horizontal, sideways and fore-aft together
    moment: float  # [N m] that tips


def _anchor_load(answer: RigLoad) -> _Load:
    """The most that pulls on whatever holds the bands from below, and on all anchors sideways."""
    most = _Load(0.0, 0.0, 0.0)
    for direction in answer.known_ways.values():
        pairs = list(zip(answer.rig.band, direction.bands, strict=True))
        up = _most([p.down for b, p in pairs if b.source == "below" and not under_feet(b)])
        fore = [(p.fore, b.anchor_height) for b, p in pairs]
        most = _Load(
            max(most.uplift, up),
            max(most.aside, _most([_aside(p) for _, p in pairs])),
            max(most.moment, _most([force * lever for force, lever in fore])),
        )
    return most


def _aside(pull: RigPull) -> Array:
    found: Array = np.hypot(pull.sideways, pull.fore)
    return found


def _most(values: Sequence[Array]) -> float:
    return float(abs(np.sum(values, axis=0)).max()) if values else 0.0


def _anchor(answer: RigLoad, said: _Weights) -> list[Finding]:
    anchor, load, g = answer.rig.anchor, _anchor_load(answer), answer.gravity
    if anchor.bolted:
        return []
    found: list[Finding] = []
    if anchor.holds is None:
        if load.uplift > 0:
            text = (
                f"the bands lift whatever holds them with up to {said(load.uplift / g)}; what it weighs was not given"
            )
            found.append(Finding("anchor-may-lift", text))
        return found
    rest = anchor.holds * g - load.uplift
    if load.uplift > HOLDS_SHARE * anchor.holds * g:
        text = f"the bands lift what holds them with up to {said(load.uplift / g)}, and it weighs {said(anchor.holds)}"
        more = "it will lift off" if rest <= 0 else "above half asks for caution"
        found.append(Finding("anchor-may-lift", f"{text}: {more}"))
    if load.aside > FRICTION * max(rest, 0.0):
        text = f"the bands pull what holds them sideways with up to {said(load.aside / g)}; at a friction of "
        found.append(Finding("anchor-may-slide", text + f"{FRICTION} it slides, and round dumb-bells roll sooner"))
    if anchor.footprint is not None and load.moment > HOLDS_SHARE * max(rest, 0.0) * anchor.footprint / 2:
        tips, holds = load.moment, max(rest, 0.0) * anchor.footprint / 2
        text = f"the fore-aft pull tips the anchor with {tips:.0f} N m against {holds:.0f} N m that hold it"
        found.append(Finding("anchor-may-tip", f"{text}; above half asks for caution: bolt it or load it"))
    return found


def _fore_aft(answer: RigLoad, said: _Weights) -> list[Finding]:
    directions = [answer.hooks] if answer.hooks is not None else list(answer.known_ways.values())
    pull = max(abs(float(sum(p.fore[0] for p in d.bands))) for d in directions) / answer.gravity
    if pull < FORE_AFT_KG:
        return []
    where = "at the hooks" if answer.hooks is not None else "at the bottom"
    return [
        Finding("fore-aft-pull", f"{where} the bands pull the bar {said(pull)} fore or aft, out of its hooks or hands")
    ]


def _unequal(answer: RigLoad, said: _Weights) -> list[Finding]:
    direction = hardest(answer)
    apart = direction.difference.value / answer.gravity
    at = int(abs(apart).argmax())
    u95 = direction.difference.u95[at] / answer.gravity
    if abs(apart[at]) <= min(UNEQUAL_SHARE * abs(direction.load.value[at]), UNEQUAL_KG):
        return []
    more, less = ("left", "right") if apart[at] > 0 else ("right", "left")
    shown = SHOWN[said.unit]
    text = f"the {more} side pulls down {said(abs(apart[at]))} more than the {less} (+- {said(u95)})"
    text += f" with the bar at {shown.tape(answer.heights[at])} {shown.length}"
    return [Finding("sides-unequal", text)]


def _wear(answer: RigLoad) -> list[Finding]:
    thin = [band for band in answer.rig.band if band.sleeve_diameter < SHAFT]
    if not thin:
        return []
    names = ", ".join(map(band_name, thin))
    return [
        Finding(
            "band-wear", f"{names} lies on less than {SHAFT * 1e3:.0f} mm: on the knurl or under a hook a band wears"
        )
    ]
