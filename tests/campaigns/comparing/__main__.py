"""Every kind of gear, unchanged bands and bands softened by 5 %; exit status 1 where a bound is broken."""

import argparse
import sys
from dataclasses import replace
from itertools import product

import numpy as np

from calib.fit.gear.known_loads import LoadKind
from calib.use.bands.compare import Comparison
from tests.campaigns.comparing.plates import try_plate
from tests.campaigns.comparing.years import Case, flagged, holds, try_year
from tests.campaigns.simulated_bands.worlds import BY_NAME

GEAR = {
    "luggage": (BY_NAME["tube"], "luggage scale, u 1 %"),
    "hook": (BY_NAME["hook"], "hanging scale, u 0.5 %"),
    "hook3": (replace(BY_NAME["hook"], name="hook, three cycles", cycles=3), "hanging scale, u 0.5 %"),
    "fair": (BY_NAME["great-loss"], "hanging scale to 20 g, u 0.5 %"),
    "cell": (BY_NAME["inflected"], "load cell, u 0.1 %"),
    "weights": (BY_NAME["weights"], "hung weights, u 0.2 %"),
    "platform": (BY_NAME["platform"], "platform scale, u 0.5 %"),
}
ORDINARY = ("hook", "hook, three cycles", "great-loss", "tube")  # what a coach has
SOFTER = -0.05


def main() -> int:
    """Run it as asked on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.comparing", description=__doc__)
    parser.add_argument("--bands", type=int, default=40, help="bands, for each share of each line")
    parser.add_argument("--gear", default="", help=f"one of: {', '.join(GEAR)}")
    parser.add_argument("--plates", type=int, default=0, help="only this: bands looked at with one plate, each kind")
    wanted = parser.parse_args()
    if wanted.plates:
        return _by_plate(wanted.plates)
    bands = wanted.bands
    gear = [GEAR[wanted.gear]] if wanted.gear else list(GEAR.values())
    heads = ("gear", "cycles", "between", "plate", "bands", "same: flagged", "5 % softer: flagged", "holds", "u, %")
    print(f"| {' | '.join(heads)} | smallest seen, % |\n{'|---' * (len(heads) + 1)}|")
    broken, everything = False, []
    first = 0  # every line has bands of its own, so that the lines together say more than one
    for (world, words), rechecked, plate in product(gear, (False, True), (False, True)):
        if world.name == "weights" and (rechecked or plate):
            continue
        kinds = {}
        for change in (0.0, SOFTER):
            case, numbers = Case(change, plate=plate, rechecked=rechecked), range(first, first + bands)
            kinds[change] = [c for n in numbers if (c := try_year(world, case, n))]
            first += bands
        same, softer = kinds[0.0], kinds[SOFTER]
        print(f"| {words} | {world.cycles} {_row(same, softer, rechecked=rechecked, plate=plate)}", flush=True)
        slack = 2 * (0.95 * 0.05 / len(same)) ** 0.5
        broken |= flagged(same) > 0.05 + slack
        broken |= world.name in ORDINARY and plate and flagged(softer) < 0.95 - slack
        everything += same
    print(f"\nUnchanged and called changed: {flagged(everything):.1%} of {len(everything)} comparisons")
    return int(broken)


def _by_plate(bands: int) -> int:
    heads = ("measured with", "plate", "bands", "same: passed", "5 % softer: seen", "10 % softer: seen")
    print(f"| {' | '.join(heads)} | smallest seen, % |")
    print("|---|---|---|---|---|---|---|")
    broken = False
    loads: tuple[LoadKind, ...] = ("plates", "weighed")
    for name, load in product(("hook", "fair", "luggage"), loads):
        world, words = GEAR[name]
        found = {
            change: [f for n in range(bands) if (f := try_plate(world, load, change, n + i * bands))]
            for i, change in enumerate((0.0, SOFTER, 2 * SOFTER))
        }
        passed, *missed = (float(np.mean([f.passed for f in kind])) for kind in found.values())
        smallest = 100 * float(np.mean([f.expected.smallest for f in found[0.0]]))
        shares = " | ".join(f"{share:.1%}" for share in (passed, *(1 - m for m in missed)))
        print(f"| {words} | {load} | {len(found[0.0])} | {shares} | {smallest:.1f} |", flush=True)
        broken |= passed < 0.95 - 2 * (0.95 * 0.05 / bands) ** 0.5
    return int(broken)


def _row(same: list[Comparison], softer: list[Comparison], *, rechecked: bool, plate: bool) -> str:
    held = 0.5 * (holds(same, 0.0) + holds(softer, SOFTER))
    u, smallest = np.mean([c.u_level_ratio for c in same]), np.mean([c.smallest for c in same])
    return (
        f"| {'checked again' if rechecked else 'same check'} | {'yes' if plate else 'no'} | {len(same)} "
        f"| {flagged(same):.1%} | {flagged(softer):.1%} | {held:.1%} | {100 * u:.2f} | {100 * smallest:.1f} |"
    )


if __name__ == "__main__":
    sys.exit(main())
