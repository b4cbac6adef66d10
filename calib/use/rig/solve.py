"""Which bands, hung how, with which plates, put a wanted load on the bar: every combination, the best few worked out.

Loads of a lift going up. What the place allows is solve_place's, words are made elsewhere.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, islice, permutations, product
from math import comb, hypot, sqrt
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.errors import DataError
from calib.frozen import dataclass
from calib.profile.document import Profile
from calib.records import Array
from calib.units import Unit
from calib.use.rig.anchors import UNEQUAL_SHARE, cautions, lifts_off
from calib.use.rig.plates import Loadings
from calib.use.rig.rig_average import OFS, load_of, over_the_lift
from calib.use.rig.rig_file import Rig, RigBand
from calib.use.rig.rig_sum import Known
from calib.use.rig.solve_place import Candidate, Hanging, RigPlace, Unusable, hung, pulls
from calib.use.rig.statics import RigLoad, calculate

Of = Literal["bottom", "top", "average", "weight", "maximum"]
Tell = Callable[[float], None]
Team = tuple[tuple[int, ...], ...]  # bands by their place in the list of candidates, for each side of the place
SHORTLIST = 40  # combinations that miss least, and as many of those near enough that are alike left and right: for
# these U is worked out
STEP = 0.5  # [kg] what is counted of a miss beyond U, and of a difference between the sides; below the smallest plates
MOST_TEAMS = 20_000
SEARCH = 0.8  # of the work, roughly; the rest is U


@dataclass(frozen=True)
class Wish:
    """A load that is wanted, or a share of it that the bands are to pull."""

    of: Of  # a load: bottom, top or average; a share of the load there, of bar and plates, or of a maximum
    load: float | None = None  # [kg]
    share: float = 0.0
    maximum: float = 0.0  # [kg] what the lifter lifts once

    def miss(self, pulled: Array) -> tuple[float, Array]:
        """How far off a weight w is, in kg, as slope and offset: slope * w + offset.

        Args:
            pulled: What the bands pull downward, heights last. [kg]
        """
        if self.load is not None:
            return 1.0, _pull_at(pulled, self.of) - self.load
        if self.of in ("weight", "maximum"):
            most = abs(pulled[..., [0, -1]]).max(axis=-1)
            return (-self.share, most) if self.of == "weight" else (0.0, most - self.share * self.maximum)
        there = _pull_at(pulled, self.of)
        return -self.share, abs(there) - self.share * there


@dataclass(frozen=True)
class Sought:
    """What is asked."""

    place: RigPlace
    candidates: Sequence[Candidate]
    ways: Sequence[Hanging]
    loads: Loadings
    wishes: Sequence[Wish]
    within: float  # [kg] how far off a proposal may be
    most: int = 1  # bands on a side
    each_once: bool = False  # no band has a twin on the other side
    pairs: tuple[tuple[int, int], ...] | None = None  # then left and right are these, by their place in candidates
    kept: tuple[tuple[int, int], ...] = ()  # left and right that somebody keeps together
    few: int = 3
    extrapolate: bool = False  # beyond the tested lengths, marked
    unit: Unit = "kg"  # of the weights in the cautions

    @property
    def twins(self) -> bool:
        """Each band is taken to have an exact twin on the other side."""
        return len(self.place.slots) > 1 and not self.each_once and self.pairs is None


@dataclass(frozen=True)
class Proposal:
    """One combination, worked out."""

    rig: Rig
    profiles: tuple[Profile, ...]
    hanging: Hanging
    plates_a_side: tuple[float, ...]  # [kg]
    answer: RigLoad  # with its cautions
    miss: float  # [kg] the farthest from what is wanted
    loads: Mapping[Of, Known]  # bottom, top, average, going up [kg]
    changed: int = 0  # things hung otherwise than in the place: the arrangement, the anchor's hole, the pegs

    def known_to(self, wishes: Sequence[Wish]) -> float:
        """U95 of the mean of what is wanted, the widest. [kg]"""
        return _widest(self.wanted(wishes))

    @property
    def apart(self) -> float:
        """By how much the sides differ where they differ most. [kg]"""
        ways = self.answer.known_ways.values()
        return max(float(abs(way.difference.value).max()) for way in ways) / self.answer.gravity

    def wanted(self, wishes: Sequence[Wish]) -> list[Known]:
        """The load each wish is about; of bar and plates or of a maximum, where the bands pull most. [kg]"""
        return _wanted(self.rig.weight_kg, self.loads, wishes)

    @property
    def lifts(self) -> bool:
        """The bands from above pull more than bar and plates weigh, somewhere."""
        return any(f.code == "bar-may-lift" for f in self.answer.findings)

    @property
    def flies(self) -> bool:
        """The bands from above pull more than bar and plates weigh, beyond doubt: there is no load to propose."""
        return any(bool((way.load.value < 0).any()) for way in self.answer.known_ways.values())

    @property
    def untested(self) -> bool:
        """A band is used at lengths where nobody measured it."""
        return any(f.code == "outside-tested" for f in self.answer.findings)


def _wanted(weight: float, loads: Mapping[Of, Known], wishes: Sequence[Wish]) -> list[Known]:
    most = max((loads["bottom"], loads["top"]), key=lambda k: abs(float(k.value[0]) - weight))
    return [loads.get(wish.of, most) for wish in wishes]


def _widest(loads: Sequence[Known]) -> float:
    return max(float(k.u95[0]) for k in loads)


class Missed(NamedTuple):
    """A band in an arrangement that cannot be used, or that misses what is wanted."""

    band: str
    arrangement: str
    why: str
    text: str  # empty where it misses
    miss: float | None  # [kg]


@dataclass(frozen=True)
class SolveResult:
    """The best few, and what is not reachable."""

    sought: Sought
    proposals: tuple[Proposal, ...]  # the best few; none where nothing is near enough
    more: int  # near enough too, not among the few
    nearest: Proposal
    missed: tuple[Missed, ...]
    looked_at: int  # combinations of bands, ways to hang and loads
    uneven: int  # combinations left out because left and right pull too differently


def beyond(miss: float | Array, u95: float | Array, best_u95: float) -> Array:
    """How far a load may be off, beyond what nobody can tell, in steps of half a kilo.

    Two misses inside U are a tie. What may be off is the miss and U together, so that a band is not the nearer for
    being less well known; what the best known one may be off with a miss as large as its U is free.

    Args:
        miss: From what is wanted. [kg]
        u95: Of the load. [kg]
        best_u95: Of the load of the combination that may be off least. [kg]

    >>> [abs(int(beyond(miss, 4.2, 4.2))) for miss in (0.15, 0.42, 6.0)]
    [0, 0, 3]
    """
    found: Array = np.ceil(np.maximum(np.hypot(miss, u95) - sqrt(2) * best_u95, 0.0) / STEP - 1e-9)
    return found


def solve(sought: Sought, tell: Tell = lambda part: None) -> SolveResult:
    """Find the combinations that come nearest to what is wanted.

    Of each set of bands in each arrangement the anchor, pegs and plates that miss least. Of these, within what is
    allowed: misses inside U are ties, and then the sides that pull more alike come first, then two bands that are kept
    together, then what changes less in the place, then fewer plates, then the smaller miss. Guesses come later, then an
    anchor that would lift off, a bar that may fly up last, one that does never.

    Args:
        sought: What is asked.
        tell: Called with the part that is done.

    Raises:
        DataError: No band can hang there at all.
    """
    teams = teams_of(sought)
    pulled, bad = all_pulls(sought, tell)
    table = _Table(sought, teams, pulled)
    best = table.best_of_each()
    if not best:
        raise _nothing(sought, bad, table.uneven)
    made = _worked_out(sought, teams, best, tell)
    near = [p for p in made if not p.flies]
    good = _ranked([p for p in near if p.miss <= sought.within], sought)
    looked = len(teams) * len(sought.ways) * len(sought.loads.totals)
    few = tuple(good[: sought.few])
    more = max(sum(one.miss <= sought.within for one in best) - len(few), 0)
    nearest = min(near or made, key=lambda p: p.miss)
    return SolveResult(sought, few, more, nearest, _missed(sought, teams, best, bad), looked, table.uneven)


def _worked_out(sought: Sought, teams: Sequence[Team], best: Sequence["Best"], tell: Tell) -> list[Proposal]:
    """The shortlist in full: what misses least, what is near enough and alike; one that stays down at least."""
    near = [one for one in best if one.miss <= sought.within]
    alike = sorted(near, key=lambda one: (int(one.apart / STEP), one.miss))[:SHORTLIST]
    listed = list(dict.fromkeys([*near[:SHORTLIST], *alike]))
    made: list[Proposal] = []
    for n, one in enumerate(listed):
        made.append(proposal_of(sought, teams[one.team], one))
        tell(SEARCH + (1 - SEARCH) * (n + 1) / len(listed))
    known = set(listed)
    for one in islice((one for one in best if one not in known), SHORTLIST):
        if any(not p.flies for p in made):
            break
        made.append(proposal_of(sought, teams[one.team], one))
    return made


def _ranked(good: Sequence[Proposal], sought: Sought) -> list[Proposal]:
    """The best first, as `solve` says."""
    if not good:
        return []
    wishes, profiles = sought.wishes, [c.profile for c in sought.candidates]
    known = min(good, key=lambda p: hypot(p.miss, p.known_to(wishes))).known_to(wishes)
    kept = [(profiles[i], profiles[j]) for i, j in sought.kept]

    def order(p: Proposal) -> tuple[object, ...]:
        first = (p.lifts, lifts_off(p.answer), p.untested, beyond(p.miss, p.known_to(wishes), known))
        return (*first, int(p.apart / STEP), p.profiles not in kept, p.changed, len(p.plates_a_side), p.miss)

    return sorted(good, key=order)


def teams_of(sought: Sought) -> list[Team]:
    """Sets of bands: the same on both sides, each with its twin; or each band once."""
    n, slots = len(sought.candidates if sought.pairs is None else sought.pairs), len(sought.place.slots)
    count = sum(comb(n, k) for k in range(1, sought.most + 1))
    if count * slots > MOST_TEAMS:
        raise DataError(f"{n} bands make {count} sets of up to {sought.most} a side",
                        remedy="give fewer profiles, or fewer bands a side")  # fmt: skip
    if sought.pairs is not None and slots > 1:
        return _paired(sought.pairs, sought.most, sought.place.mirrored)
    if sought.each_once and slots > 1:
        pairs = combinations(range(n), 2) if sought.place.mirrored else permutations(range(n), 2)
        turned = {(j, i) for i, j in sought.kept} if sought.place.mirrored else set()
        return [((j,), (i,)) if (i, j) in turned else ((i,), (j,)) for i, j in pairs]
    sets = [chosen for k in range(1, sought.most + 1) for chosen in combinations(range(n), k)]
    return [(chosen,) * slots for chosen in sets]


def _paired(pairs: Sequence[tuple[int, int]], most: int, mirrored: bool) -> list[Team]:
    """Up to so many pairs at once; which band of a pair hangs left is tried both ways, once where sides are alike."""
    found: list[Team] = []
    for k in range(1, most + 1):
        for chosen in combinations(pairs, k):
            for turned in product((False, True), repeat=k):
                if not (mirrored and turned[0]):
                    sides = [pair[::-1] if turn else pair for pair, turn in zip(chosen, turned, strict=True)]
                    found.append(tuple(zip(*sides, strict=True)))
    return found


def all_pulls(sought: Sought, tell: Tell) -> tuple[Array, dict[tuple[int, int], Unusable]]:
    """Pulls as (way, band, side, height), NaN where a band cannot hang so, with one more band that pulls nothing."""
    ways, bands = sought.ways, sought.candidates
    slots, heights = len(sought.place.slots), len(sought.place.heights)
    out = np.full((len(ways), len(bands) + 1, slots, heights), np.nan)
    out[:, -1] = 0.0
    bad: dict[tuple[int, int], Unusable] = {}
    for w, hanging in enumerate(ways):
        for c, candidate in enumerate(bands):
            pull = pulls(sought.place, hanging, candidate, extrapolate=sought.extrapolate)
            sides = [one for one in pull if not isinstance(one, Unusable)]
            if not sides or (len(sides) < slots and sought.twins):
                bad[w, c] = next(one for one in pull if isinstance(one, Unusable))
            for slot, one in enumerate(pull):
                out[w, c, slot] = np.nan if isinstance(one, Unusable) else one
            tell(SEARCH * (w * len(bands) + c + 1) / (len(ways) * len(bands)))
    return out, bad


class Best(NamedTuple):
    """The way and load that miss least, of one set of bands in one arrangement."""

    miss: float
    apart: float  # [kg] the sides, where they differ most
    team: int
    way: int
    load: int


class _Table:
    """Every set of bands in every way to hang, with the load that misses least and by how much."""

    def __init__(self, sought: Sought, teams: Sequence[Team], pulled: Array) -> None:
        self.sought, self.uneven, self.teams = sought, 0, teams
        width, none = max((len(side) for team in teams for side in team), default=1), len(sought.candidates)
        padded = [[[*side, *[none] * (width - len(side))] for side in team] for team in teams]
        chosen = np.array(padded, dtype=int).reshape(len(teams), len(sought.place.slots), width)
        rows = [self._row(pulled[w], chosen) for w in range(len(sought.ways))]
        self.miss, self.load, self.apart = (np.array(parts) for parts in zip(*rows, strict=True))

    def _row(self, pulled: Array, chosen: NDArray[np.int_]) -> tuple[Array, NDArray[np.int_], Array]:
        sides = pulled[chosen, np.arange(chosen.shape[1])[None, :, None]].sum(axis=2)
        whole = sides.sum(axis=1)
        weights = self.sought.place.rig.bar.mass + self.sought.loads.totals
        at, miss = nearest_load([wish.miss(whole) for wish in self.sought.wishes], weights)
        apart = abs(sides.max(axis=1) - sides.min(axis=1))
        if not self.sought.twins and chosen.shape[1] > 1:
            load = abs(whole + weights[at][:, None])
            uneven = np.isfinite(miss) & (apart > UNEQUAL_SHARE * load).any(axis=1)
            self.uneven += int(uneven.sum())
            miss[uneven] = np.inf
        return miss, at, apart.max(axis=1)

    def best_of_each(self) -> list[Best]:
        """The best of each set of bands in each arrangement, those that miss least first.

        Two bands that change sides are one set; of the two ways the one that misses less, or is more alike, counts.
        """
        found: dict[tuple[str, frozenset[int]], Best] = {}
        names = [way.arrangement for way in self.sought.ways]
        for name in dict.fromkeys(names):
            rows = [w for w, other in enumerate(names) if other == name]
            nearest = np.array(rows)[self.miss[rows].argmin(axis=0)]
            misses = self.miss[nearest, np.arange(len(nearest))]
            for team in np.flatnonzero(np.isfinite(misses)).tolist():
                way = int(nearest[team])
                one = Best(float(misses[team]), float(self.apart[way, team]), team, way, int(self.load[way, team]))
                key = name, frozenset(c for side in self.teams[team] for c in side)
                kept = found.setdefault(key, one)
                if (round(one.miss, 6), one.apart) < (round(kept.miss, 6), kept.apart):
                    found[key] = one
        return sorted(found.values())


def nearest_load(misses: Sequence[tuple[float, Array]], weights: Array) -> tuple[NDArray[np.int_], Array]:
    """The weight at which the farthest miss is smallest, and that miss, for many sets of bands at once.

    The farthest of several straight lines in the weight has one valley, so halving the way to it is enough.

    Args:
        misses: Slope and offset of each wish; offsets of shape (n,).
        weights: Bar and plates, rising. [kg]

    Returns:
        Place in `weights` and the miss, both of shape (n,); infinite where an offset is NaN.
    """
    low = np.zeros(len(misses[0][1]), dtype=int)
    high = np.full_like(low, len(weights) - 1)

    def farthest(at: NDArray[np.int_]) -> Array:
        found: Array = np.max([abs(slope * weights[at] + offset) for slope, offset in misses], axis=0)
        return found

    while (open_ := low < high).any():
        middle = (low + high) // 2
        falls = farthest(middle) > farthest(np.minimum(middle + 1, len(weights) - 1))
        low, high = np.where(open_ & falls, middle + 1, low), np.where(open_ & ~falls, middle, high)
    miss = farthest(low)
    return low, np.where(np.isnan(miss), np.inf, miss)


def _pull_at(pulled: Array, of: Of) -> Array:
    found: Array = over_the_lift(pulled) if of == "average" else pulled[..., 0 if of == "bottom" else -1]
    return found


def proposal_of(sought: Sought, team: Team, best: Best) -> Proposal:
    """One combination worked out in full.

    Args:
        sought: What is asked.
        team: Its bands.
        best: Its way to hang and its load.
    """
    rig, profiles = _rig_of(sought, team, best)
    answer = calculate(rig, profiles, extrapolate=sought.extrapolate)
    answer = replace(answer, findings=(*answer.findings, *cautions(answer, sought.unit)))
    changed = len({_hook(b) for b in rig.band} - {_hook(b) for b in sought.place.slots})
    plates = sought.loads.a_side[best.load]
    return Proposal(rig, profiles, sought.ways[best.way], plates, answer, best.miss, _loads_up(answer), changed)


def known_of(sought: Sought, team: Team, best: Best) -> float:
    """U95 of the mean of what is wanted of one combination, as its proposal has it, without the rest of it. [kg]"""
    rig, profiles = _rig_of(sought, team, best)
    answer = calculate(rig, profiles, extrapolate=sought.extrapolate, ways=("up",))
    return _widest(_wanted(rig.weight_kg, _loads_up(answer), sought.wishes))


def _rig_of(sought: Sought, team: Team, best: Best) -> tuple[Rig, tuple[Profile, ...]]:
    place, bands, profiles = sought.place, [], []
    for slot, members in enumerate(team):
        for c in members:
            bands.append(hung(place, sought.ways[best.way], sought.candidates[c])[slot])
            profiles.append(sought.candidates[c].profile)
    bar = replace(place.rig.bar, plates=float(sought.loads.totals[best.load]))
    return replace(place.rig, bar=bar, band=tuple(bands)), tuple(profiles)


def _loads_up(answer: RigLoad) -> dict[Of, Known]:
    return {of: load_of(answer, answer.known_ways["up"], of) for of in OFS}


def _hook(band: RigBand) -> tuple[object, ...]:
    return band.side, band.arrangement, band.anchor_height, band.pegs_apart


def _missed(
    sought: Sought, teams: Sequence[Team], best: Sequence[Best], bad: Mapping[tuple[int, int], Unusable]
) -> tuple[Missed, ...]:
    """Single bands in each arrangement that cannot be used there, or whose nearest is too far off."""
    ids = [c.profile.band.id for c in sought.candidates]
    far = sorted((b for b in best if b.miss > sought.within), key=lambda b: b.team)
    found: list[Missed] = []
    for name in dict.fromkeys(way.arrangement for way in sought.ways):
        rows = [w for w, way in enumerate(sought.ways) if way.arrangement == name]
        for c, band in enumerate(ids):
            if all((w, c) in bad for w in rows):
                least = min((bad[w, c] for w in rows), key=lambda b: b.excess)
                found.append(Missed(band, name, least.why, least.text, None))
        for near in far:
            if sought.ways[near.way].arrangement == name:
                found.append(Missed(_team_name(teams[near.team], ids), name, "misses", "", near.miss))
    return tuple(found)


def _team_name(team: Team, ids: Sequence[str]) -> str:
    sides = [" and ".join(ids[c] for c in side) for side in dict.fromkeys(team)]
    return " with ".join(sides)


def _nothing(sought: Sought, bad: Mapping[tuple[int, int], Unusable], uneven: int) -> DataError:
    if not sought.twins and len(sought.place.slots) > 1 and len(sought.candidates) < 2:
        return DataError("one band cannot hang on both sides",
                         remedy="give two profiles, or leave out --each-once if it has a twin")  # fmt: skip
    if not bad or uneven:
        apart = f"left and right would differ by more than {100 * UNEQUAL_SHARE:.0f} % of the load"
        return DataError(f"no two of these bands pull evenly enough: {apart}", remedy="give bands that match")
    (w, c), least = min(bad.items(), key=lambda item: item[1].excess)
    way, band = sought.ways[w], sought.candidates[c].profile.band.id
    return DataError(
        f"no band can be used there; the nearest, {band} {way.arrangement}: {least.text}",
        remedy="try other anchor heights or bands, measure them at those lengths"
        + ("" if sought.extrapolate else ", or ask for marked guesses with --extrapolate"),
    )
