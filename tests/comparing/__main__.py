"""Every kind of gear, unchanged bands and bands softened by 5 %; exit status 1 where a bound is broken."""

import argparse
import sys
from itertools import product

import numpy as np

from tests.comparing.years import Case, flagged, holds, try_year
from tests.simulated_bands.worlds import BY_NAME

GEAR = {
    "luggage": ("tube", "luggage scale, u 1 %"),
    "hook": ("hook", "hanging scale, u 0.5 %"),
    "fair": ("great-loss", "hanging scale to 20 g, u 0.5 %"),
    "cell": ("inflected", "load cell, u 0.1 %"),
    "weights": ("weights", "hung weights, u 0.2 %"),
    "platform": ("platform", "platform scale, u 0.5 %"),
}
SOFTER = -0.05


def main() -> int:
    """Run it as asked on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.comparing", description=__doc__)
    parser.add_argument("--bands", type=int, default=40, help="bands, for each kind")
    parser.add_argument("--gear", default="", help=f"one of: {', '.join(GEAR)}")
    wanted = parser.parse_args()
    bands = wanted.bands
    gear = [GEAR[wanted.gear]] if wanted.gear else list(GEAR.values())
    print("| gear | between | plate | bands | same: flagged | 5 % softer: flagged | holds | u, % | smallest seen, % |")
    print("|---|---|---|---|---|---|---|---|---|")
    broken = False
    for (world, words), rechecked, plate in product(gear, (False, True), (False, True)):
        if world == "weights" and (rechecked or plate):
            continue
        kinds = {
            change: [
                c
                for n in range(bands)
                if (c := try_year(BY_NAME[world], Case(change, plate=plate, rechecked=rechecked), n))
            ]
            for change in (0.0, SOFTER)
        }
        same, softer = kinds[0.0], kinds[SOFTER]
        held = 0.5 * (holds(same, 0.0) + holds(softer, SOFTER))
        u, smallest = np.mean([c.u_level_ratio for c in same]), np.mean([c.smallest for c in same])
        print(
            f"| {words} | {'checked anew' if rechecked else 'same check'} | {'yes' if plate else 'no'} | {len(same)} "
            f"| {flagged(same):.1%} | {flagged(softer):.1%} | {held:.1%} | {100 * u:.2f} | {100 * smallest:.1f} |",
            flush=True,
        )
        slack = 2 * (0.95 * 0.05 / len(same)) ** 0.5
        broken |= flagged(same) > 0.05 + slack
        broken |= world in ("hook", "great-loss") and plate and flagged(softer) < 0.95 - slack
    return int(broken)


if __name__ == "__main__":
    sys.exit(main())
