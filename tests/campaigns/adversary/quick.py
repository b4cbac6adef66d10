"""The first answer: four lengths, pulled as often as asked, typed into `record --quick`; a reading may be wrong.

The person answers whatever is asked. A length asked for a second time, or while unloading, is set and read anew, and
rightly; a reading that is questioned is looked at again: `kept` is a slip that looking does not mend (a length set
wrong, a hook that sticks), the other kind is fixed by it.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.campaigns.adversary import gear as tools
from tests.campaigns.adversary import rubber
from tests.campaigns.adversary.case import SHAPE, SLIPS, Case, Row, rows_of
from tests.campaigns.adversary.gear import HOOK, Errors, Gear, Rng
from tests.campaigns.adversary.laws import TO_NEWTON, Array
from tests.campaigns.adversary.rows import Bander, bent, curled, next_set, plain, plateaus
from tests.campaigns.adversary.rubber import Band

SETS = re.compile(r"\[(?P<step>\d+)/\d+\] (?P<branch>out|back): set (?P<length>\d+(?:\.\d+)?) mm")
STRETCHES, TRUE_KG = (1.2, 1.55, 2.2), (4.90, 13.05, 24.65)


NO_LAST_ZERO = frozenset({"zero-drift"})  # says that none was read: so it is
SLIPPED = SLIPS | SHAPE | NO_LAST_ZERO | {"force-falls", "branches-cross"}


@dataclass
class Person:
    """Answers a prompt, seeing all that was printed since the one before; `slipped` is which reading is wrong."""

    rng: Rng
    band: Band
    gear: Gear
    errors: Errors
    slipped: int | None
    factor: float
    kept: bool
    asked: int = 0
    at: str = ""
    length: float = 0.0
    branch: str = "out"
    said: dict[str, float] = field(default_factory=dict)
    entries: list[tuple[str, float, bool]] = field(default_factory=list)

    @property
    def wrong_kilos(self) -> set[float]:
        """What was typed and was wrong."""
        return {kilos for _, kilos, wrong in self.entries if wrong}

    def __call__(self, seen: str) -> str:
        prompt = seen.strip().splitlines()[-1] if seen.strip() else ""
        self.asked += 1
        if self.asked > 60:
            raise EOFError
        for found in SETS.finditer(seen):
            self.at = f"{found['step']} {found['branch']} {found['length']}"
            self.length, self.branch = float(found["length"]), found["branch"]
        if "changes in steps of" in prompt:
            return f"{self.gear.resolution_kg}"
        if "Maximum printed" in prompt:
            return "60 kg"
        return self._reading() if prompt.lstrip().startswith("shows, kg") else self._other(prompt)

    def _other(self, prompt: str) -> str:
        if "hickness" in prompt:
            return f"{self.band.thickness * 1e3:.1f}"
        return "0" if "Band slack" in prompt else ""

    def _reading(self) -> str:
        """A new place is pulled to and read; the same prompt again means that the reading was questioned."""
        again = self.at in self.said
        if not again:
            self.said[self.at] = self._shown()
        kilos = self.said[self.at]
        wrong = self.slipped == len(self.said) - 1 and (self.kept or not again)
        if wrong:
            kilos = float(tools.show(self.gear, np.array(kilos * self.factor)))
        self.entries.append((self.at, kilos, wrong))
        return f"{kilos:g}"

    def _shown(self) -> float:
        tape = self.length / 1e3 * (1 + self.errors.tape) + self.errors.common
        tape += self.gear.u_reading_mm / 1e3 * float(self.rng.standard_normal())
        at = float(tools.half_path_of(self.band, self.gear, np.array(tape)))
        pull = float(self.band.pull("loading" if self.branch == "out" else "unloading", at)) / TO_NEWTON
        pull *= 1 + self.gear.noise * float(self.rng.standard_normal())
        return float(tools.show(self.gear, np.array(pull * (1 + self.errors.gain) + self.errors.zero_kg)))


def through_three_points(rng: Rng) -> Band:
    """A band that pulls 4.90, 13.05 and 24.65 kg at 1.2, 1.55 and 2.2 times its length; smooth in a Mooney plot."""
    at, kilos = np.array(STRETCHES), np.array(TRUE_KG)
    reduced = np.polyfit(1 / at, kilos / (at - at**-2), 2)

    def stress(x: Array) -> Array:
        return np.asarray(np.polyval(reduced, 1 / x) * (x - x**-2))

    peak = float(stress(np.array(2.25))) * TO_NEWTON
    return rubber.band_of(rubber.Size(1.03, 2.25, peak, 0.0045, 0.03), stress, rubber.any_back(rng))


def long_enough(make: Callable[[Rng, rubber.Size], Band]) -> Bander:
    """Bands whose law goes to the longest length that is asked for."""
    return lambda rng: make(rng, replace(rubber.draw_size(rng), top_stretch=2.3))


def quick_case(make: Bander, slips: bool, kept: bool) -> Callable[[Rng, str], Case]:
    gear = Gear(HOOK.resolution_kg, 0.005, 0.02, 0.002, u_reading_mm=1.5)

    def case(rng: Rng, ident: str) -> Case:
        band, errors = make(rng), tools.draw_errors(rng, gear)
        factor = 1 + float(rng.choice([-1, 1]) * rng.uniform(0.1, 0.3))
        which = int(rng.integers(3)) if slips else None
        person = Person(rng, band, gear, errors, which, factor, kept)
        flat = f"{round((band.flat + errors.flat) * 1e3)}mm"
        options = ("record", ident, "--quick", "--dwell", "0", "--move-time", "0", "--flat", flat)
        low, high = band.rest * 1.225, band.rest * 2.17
        return Case(ident, {}, band, low, high, next_set(rng, 0.01), options, talk=person)

    return case


def quick_rows() -> list[Row]:
    issue, slip = "true 4.90, 13.05, 24.65 kg", "one of the first three readings 10 to 30 % off"
    kept, fixed = "stays when looked at again", "fixed when questioned"
    return [
        *rows_of(
            "quick",
            NO_LAST_ZERO,
            ("quick-clean", "any band, hook scale, no slip", quick_case(long_enough(plain), False, True)),
            ("quick-three-clean", f"{issue}; no slip", quick_case(through_three_points, False, True)),
        ),
        *rows_of(
            "quick",
            NO_LAST_ZERO | SHAPE,
            ("quick-bend", "a second layer engages sharply; no slip", quick_case(long_enough(bent), False, True)),
            ("quick-curled", "a curled start; no slip", quick_case(long_enough(curled), False, True)),
            ("quick-plateaus", "two plateaus; no slip", quick_case(long_enough(plateaus), False, True)),
        ),
        *rows_of(
            "quick",
            SLIPPED,
            ("quick-kept", f"any band; {slip}, {kept}", quick_case(long_enough(plain), True, True)),
            ("quick-mended", f"any band; {slip}, {fixed}", quick_case(long_enough(plain), True, False)),
            ("quick-three-kept", f"{issue}; {slip}, {kept}", quick_case(through_three_points, True, True)),
        ),
    ]
