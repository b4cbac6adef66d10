"""Every kind of gear, unchanged bands and softened ones, shares in %; exit status 1 where a bound is broken."""

import argparse
import sys
from dataclasses import replace
from itertools import product

import numpy as np

from calib.fit.gear.known_loads import LoadKind
from calib.use.bands.compare import Comparison
from tests.campaigns.comparing.plates import try_plate
from tests.campaigns.comparing.years import Case, shares, try_year
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
DAYS = (0.005, 0.01, 0.015)  # sd of one day
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
    heads = ["gear", "cycles", "between", "plate", "bands", *(f"same, {100 * day:g} % days" for day in DAYS)]
    heads += ["5 % softer", "10 % softer", "holds", "u, %", "smallest seen, %"]
    print(f"| {' | '.join(heads)} |\n{'|---' * len(heads)}|")
    broken, everything = False, []
    first = 0  # every line has bands of its own, so that the lines together say more than one
    for (world, words), rechecked, plate in product(gear, (False, True), (False, True)):
        if world.name == "weights" and (rechecked or plate):
            continue
        case = Case(plate=plate, rechecked=rechecked)
        same = [c for n in range(first, first + bands) if (c := try_year(world, case, n))]
        first += bands
        print(f"| {words} | {world.cycles} {_row(same, case)}", flush=True)
        broken |= shares(same, 0.0, DAYS[-1]).flagged > 0.05 + 2 * (0.95 * 0.05 / len(same)) ** 0.5
        everything += same
    for day in DAYS:
        found = [f"{shares(everything, change, day).flagged:.1%}" for change in (0.0, SOFTER, 2 * SOFTER)]
        print(f"Days of {100 * day:g} %: unchanged, 5 % softer, 10 % softer: flagged {', '.join(found)}")
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


def _row(same: list[Comparison], case: Case) -> str:
    u, smallest = np.mean([c.u_level_ratio for c in same]), np.mean([c.smallest for c in same])
    softer = [shares(same, change) for change in (SOFTER, 2 * SOFTER)]
    flagged = " | ".join(f"{100 * s.flagged:.1f}" for s in (*(shares(same, 0.0, day) for day in DAYS), *softer))
    return (
        f"| {'checked again' if case.rechecked else 'same check'} | {'yes' if case.plate else 'no'} | {len(same)} "
        f"| {flagged} | {100 * softer[0].holds:.1f} | {100 * u:.2f} | {100 * smallest:.1f} |"
    )


if __name__ == "__main__":
    sys.exit(main())
