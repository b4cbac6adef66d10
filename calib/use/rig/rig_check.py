"""A rig compared with what a scale shows in it, and what that teaches: slack length, grip, level. No file is opened.

Everything that may be off is a standard normal with a key, as in the sum of the bands. Readings narrow them together
(Gaussian conditioning); how far the band's hitch goes is found by repeating it. Held still, a band is read after going
the way that stretches it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import pi, sqrt

import numpy as np

from calib.errors import DataError
from calib.finding import Finding
from calib.frozen import dataclass
from calib.gravity import local_gravity
from calib.profile.document import Profile
from calib.records import Array
from calib.units import G_STANDARD
from calib.use.rig.rig_curve import RigSource, loop_of
from calib.use.rig.rig_file import Check, Rig, RigBand
from calib.use.rig.rig_geometry import Offsets, slack_length
from calib.use.rig.rig_sum import RigPull
from calib.use.rig.statics import RigLoad, Way, calculate

U_GAIN = {"platform": 0.006, "hook": 0.006, "hover": 0.01}  # unchecked scale: a bound of 1 %; plates: of 2 %
ROUNDS = 4
SETTLED = 1e-5  # m
GRIP_U = 12**-0.5  # of a share from 0 to 1
PLACE = ("reading", "hitch", "wrap", "thickness", "grip")  # keys of where the band runs; the rest is its level
OWN_READING = "reading:bar"  # each height of a check is read by itself


@dataclass(frozen=True)
class Learned:
    """What the readings say."""

    rig: Rig  # with the slack lengths found
    expected: Array  # [N] at each reading, before
    u_expected: Array  # with what one set may differ by
    shown: Array  # [N] bands' pull as read
    u_shown: Array
    misfit: float  # squared, in its own u; as many as there are readings is usual
    limit: float  # of misfit, at 95 %
    keys: tuple[str, ...]
    mean: Array  # of each key, in its own u before
    root: Array  # covariance = root root^T
    per_reading: Mapping[str, float]  # a hitch's u in readings of a slack length
    u_slack: Mapping[int, float]  # [m]
    grip: tuple[float, float] | None  # share and its u
    level: tuple[float, float]  # relative change of the bands' own pull, and its u

    @property
    def agrees(self) -> bool:
        """Whether profile and rig agree with what was read."""
        return self.misfit <= self.limit

    def adjusted(self, pulls: list[RigPull]) -> list[RigPull]:
        """Pulls of the bands in the light of the readings."""
        return [self._learned_pull(pull) for pull in pulls]

    def _learned_pull(self, pull: RigPull) -> RigPull:
        rows, middle = _rows(pull, self.keys, self.per_reading)
        down = pull.down + middle + self.mean @ rows
        part = np.divide(down, pull.down, out=np.ones_like(down), where=pull.down != 0)
        kept = [s for s in pull.sources if s.key not in self.keys]
        learned = [RigSource(f"checked:{n}", shift) for n, shift in enumerate(self.root.T @ rows)]
        return replace(
            pull, down=down, tension=pull.tension * part, sideways=pull.sideways * part, fore=pull.fore * part,
            sources=(*kept, *learned), drawn={},
        )  # fmt: skip


def work_out(rig: Rig, profiles: Sequence[Profile], *, extrapolate: bool) -> tuple[RigLoad, Learned | None]:
    """Work a rig out, in the light of its check if it has one.

    A check that does not agree teaches nothing. What is refused is what the rig as written is refused; where the check
    moves it a little further, that is marked.
    """
    alone = calculate(rig, profiles, extrapolate=extrapolate)
    if rig.check is None:
        return alone, None
    learned = learn(rig, rig.check, profiles)
    if not learned.agrees:
        return replace(alone, findings=(disagreement(learned), *alone.findings)), learned
    return calculate(learned.rig, profiles, extrapolate=True, adjusted=learned.adjusted), learned


def disagreement(learned: Learned) -> Finding:
    """That the readings and the rig do not agree."""
    worst = int(np.argmax(abs(learned.shown - learned.expected) / np.hypot(learned.u_shown, learned.u_expected)))
    apart = (learned.shown[worst] - learned.expected[worst]) / G_STANDARD
    text = f"what was read in the rig and what was worked out do not agree (by {apart:+.1f} kg at worst)"
    return Finding("rig-disagrees", f"{text}; until the reason is found the numbers are those without the check")


def learn(rig: Rig, check: Check, profiles: Sequence[Profile]) -> Learned:
    """Compare a rig with readings taken in it.

    Args:
        rig: The rig.
        check: What was read.
        profiles: One for each of its bands.

    Raises:
        DataError: The check does not suit the rig.
    """
    hitches = _hitches(rig, profiles)
    slack = {i: one.length for i, one in hitches.items()}
    per = {f"hitch:{i}": one.u / rig.bar.u_reading for i, one in hitches.items()} if rig.bar.u_reading else {}
    shown = _shown(rig, check)
    first: _Step | None = None
    for _ in range(ROUNDS):
        looked = _look(rig, check, slack, profiles, per)
        step = _condition(looked, shown, {f"hitch:{i}": (slack[i] - one.length) / one.u for i, one in hitches.items()})
        first = first or step
        if first.misfit > _limit(len(shown)):
            break
        moved = {i: _within(one, one.length + one.u * step.step_of(f"hitch:{i}")) for i, one in hitches.items()}
        settled = all(abs(moved[i] - slack[i]) < SETTLED for i in moved)
        slack = moved
        if settled:
            break
    assert first is not None
    mean = np.array([0.0 if key.startswith("hitch") else m for key, m in zip(step.keys, step.mean, strict=True)])
    return Learned(
        _with_slack(rig, slack), first.expected, np.sqrt(np.diag(first.prior)), shown, np.sqrt(np.diag(first.noise)),
        first.misfit, _limit(len(shown)), step.keys, mean, _root(step.covariance), per,
        {i: abs(one.u) * step.u(f"hitch:{i}") for i, one in hitches.items()},
        _grip(step), _level(step),
    )  # fmt: skip


@dataclass(frozen=True)
class _Hitch:
    """Slack length of a choked band before the check; an estimate falls as the hitch takes up more."""

    length: float  # [m]
    u: float  # [m] signed, for one u of its key
    rest: float  # [m]


def _hitches(rig: Rig, profiles: Sequence[Profile]) -> dict[int, _Hitch]:
    found = {}
    for i, (band, profile) in enumerate(zip(rig.band, profiles, strict=True)):
        if band.arrangement == "choked":
            loop = loop_of(profile)
            length = float(slack_length(band, loop))
            off = Offsets(slack=max(rig.bar.u_reading, 1e-6)) if band.slack_length is not None else Offsets(hitch=1.0)
            found[i] = _Hitch(length, float(slack_length(band, loop, off)) - length, loop.rest)
    return found


def _within(hitch: _Hitch, length: float) -> float:
    return min(max(length, 0.2 * hitch.rest), 0.999 * hitch.rest)


def _with_slack(rig: Rig, slack: Mapping[int, float]) -> Rig:
    bands = [replace(band, slack_length=slack.get(i, band.slack_length)) for i, band in enumerate(rig.band)]
    return replace(rig, band=tuple(bands))


def _shown(rig: Rig, check: Check) -> Array:
    """Bands' pull as read: downward, or along the band for a scale hooked at the bar. [N]"""
    shown = np.array(check.shown)
    if check.how == "hover":
        return -(rig.bar.mass + shown) * local_gravity(rig.bar.latitude_deg, rig.bar.altitude)[0]
    return (shown - (check.alone or 0.0)) * G_STANDARD if check.how == "platform" else shown * G_STANDARD


@dataclass(frozen=True)
class _Look:
    """What is expected of the readings."""

    expected: Array  # [n]
    keys: tuple[str, ...]
    design: Array  # [n, keys]
    noise: Array  # [n, n]


def _look(
    rig: Rig, check: Check, slack: Mapping[int, float], profiles: Sequence[Profile], per: Mapping[str, float]
) -> _Look:
    rig = _with_slack(rig, slack)
    rig = replace(rig, bar=replace(rig.bar, tempo_s=check.wait_s))
    if check.how == "hook":
        bands = [_on_hook(b, check) if i == check.band else b for i, b in enumerate(rig.band)]
        rig = replace(rig, band=tuple(bands))
    answer = calculate(rig, profiles, extrapolate=True)
    way: Way = "down" if all(band.source == "above" for band in rig.band) else "up"
    if way not in answer.known_ways:
        raise DataError("unloading of a band from above was not measured, so no check can be calculated",
                        where="check", remedy="measure it")  # fmt: skip
    pulls = list(answer.known_ways[way].bands)
    if check.how == "hook":
        pulls = [_along(pulls[check.band])]
    return _at_heights(pulls, answer.heights, rig, check, per)


def _on_hook(band: RigBand, check: Check) -> RigBand:
    """The scale's hook in place of the sleeve; it takes up less of a hitched band."""
    less = pi * (band.sleeve_diameter - check.hook_diameter) / 4
    slack = None if band.slack_length is None else band.slack_length + less
    return replace(band, sleeve_diameter=check.hook_diameter, slack_length=slack)


def _along(pull: RigPull) -> RigPull:
    """A band's pull along its own line."""
    part = np.sign(pull.down) / np.cos(pull.angle)
    sources = tuple(s._replace(shift=s.shift * part) for s in pull.sources)
    return replace(pull, down=pull.down * part, next_u=pull.next_u * abs(part), sources=sources)


def _at_heights(pulls: list[RigPull], grid: Array, rig: Rig, check: Check, per: Mapping[str, float]) -> _Look:
    heights = np.array(check.heights)

    def at_height(values: Array) -> Array:
        found: Array = np.interp(heights, grid, values)
        return found

    keys = tuple(sorted({s.key for p in pulls for s in p.sources} - {OWN_READING}))
    rows = [_rows(p, keys, per) for p in pulls]
    whole = np.sum([r for r, _ in rows], axis=0)
    middle = np.sum([m for _, m in rows], axis=0)
    down = np.sum([p.down for p in pulls], axis=0)
    own = at_height(np.sum([s.shift for p in pulls for s in p.sources if s.key == OWN_READING], axis=0))
    step = check.resolution * G_STANDARD * sqrt(2 / 12)  # a reading less a zero
    gain = (U_GAIN[check.how] if check.u_gain is None else check.u_gain) * _shown(rig, check)
    noise = np.diag(own**2 + step**2 + 1e-12) + np.outer(gain, gain)
    for pull in pulls:
        noise = noise + np.outer(at_height(pull.next_u), at_height(pull.next_u))
    return _Look(at_height(down + middle), keys, np.array([at_height(row) for row in whole]).T, noise)


def _rows(pull: RigPull, keys: Sequence[str], per: Mapping[str, float]) -> tuple[Array, Array]:
    """Shift of the pull by one u of each key, and what half of a one-sided one adds. [keys, heights] and [heights]"""
    place = {key: n for n, key in enumerate(keys)}
    rows, middle = np.zeros((len(keys), len(pull.down))), np.zeros(len(pull.down))
    for s in pull.sources:
        if s.key in place:
            rows[place[s.key]] += s.shift * (GRIP_U if s.one_sided else per.get(s.key, 1.0))
            middle += s.shift / 2 if s.one_sided else 0.0
    return rows, middle


@dataclass(frozen=True)
class _Step:
    """One conditioning."""

    keys: tuple[str, ...]
    mean: Array
    covariance: Array
    expected: Array
    prior: Array  # [n, n] covariance of what is expected
    noise: Array
    misfit: float
    design: Array

    def step_of(self, key: str) -> float:
        """Where a key now is, in its u before; one that no reading knows of stays."""
        return float(self.mean[self.keys.index(key)]) if key in self.keys else 0.0

    def u(self, key: str) -> float:
        """Its u, in its u before."""
        if key not in self.keys:
            return 1.0
        at = self.keys.index(key)
        return float(np.sqrt(max(self.covariance[at, at], 0.0)))


def _condition(look: _Look, shown: Array, from_: Mapping[str, float]) -> _Step:
    """Condition on the readings, from where the hitches were taken to be."""
    begun = np.array([from_.get(key, 0.0) for key in look.keys])
    a = look.design
    prior = a @ a.T
    gain = np.linalg.solve(prior + look.noise, a).T
    apart = shown - look.expected + a @ begun
    covariance = np.eye(len(look.keys)) - gain @ a
    misfit = float(apart @ np.linalg.solve(prior + look.noise, apart))
    return _Step(look.keys, gain @ apart, covariance, look.expected, prior, look.noise, misfit, a)


def _grip(step: _Step) -> tuple[float, float] | None:
    if "grip" not in step.keys:
        return None
    return float(np.clip(0.5 + GRIP_U * step.step_of("grip"), 0, 1)), GRIP_U * step.u("grip")


def _level(step: _Step) -> tuple[float, float]:
    at = int(np.argmax(abs(step.expected)))
    if not step.expected[at]:
        return 0.0, 0.0
    row = np.array([0.0 if key.startswith(PLACE) else v for key, v in zip(step.keys, step.design[at], strict=True)])
    row = row / step.expected[at]
    return float(row @ step.mean), float(np.sqrt(max(row @ step.covariance @ row, 0.0)))


def _root(covariance: Array) -> Array:
    values, vectors = np.linalg.eigh(covariance)
    found: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return found


def _limit(count: int) -> float:
    """95 % point of chi squared."""
    from scipy.special import gammaincinv

    return float(2 * gammaincinv(count / 2, 0.95))
