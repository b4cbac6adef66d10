"""Pairings against all there are, boxes of bands against the truth; exit status 1 where a bound is broken."""

import argparse
import sys
import time

import numpy as np

from calib.use.bands.matching import best_pairs
from tests.campaigns.pairing.boxes import Outcome, try_box
from tests.campaigns.pairing.ends import summary, try_ends
from tests.campaigns.simulated_bands.worlds import BY_NAME
from tests.use.bands.brute_force import any_costs, best_of_all, worst_and_sum

WORLDS = ("hook", "ogden", "weights", "tube")
SPREADS = (1.0, 0.1)


def main() -> int:
    """Run it as asked on the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.pairing", description=__doc__)
    parser.add_argument("--boxes", type=int, default=10, help="boxes of twelve bands, for each kind")
    parser.add_argument("--ends", type=int, default=0, help="only this: bands hooked end to end with a reference")
    wanted = parser.parse_args()
    if wanted.ends:
        print(summary([told for n in range(wanted.ends) if (told := try_ends(n))]))
        return 0
    boxes = wanted.boxes
    rng = np.random.default_rng(1)
    cases = [any_costs(rng) for _ in range(500)]
    wrong = sum(worst_and_sum(c, best_pairs(c)[0]) != best_of_all(c) for c in cases)
    print(f"Pairings that differ from the best of all pairings, of {len(cases)} with 2 to 8 bands: {wrong}")
    slowest = max(_seconds(any_costs(rng, 200)) for _ in range(20))
    print(f"Slowest of 20 pairings of 200 bands from their limits: {slowest:.2f} s")
    print()
    print("| gear | spread | pairs | limit holds | seen holds | true, % | limit, % | full U over limit |")
    print("|---|---|---|---|---|---|---|---|")
    broken = wrong > 0
    for name in WORLDS:
        for spread in SPREADS:
            outcomes = [o for number in range(boxes) if (o := try_box(BY_NAME[name], number, 12, spread))]
            held = [h for o in outcomes for h in o.held]
            broken |= float(np.mean(held)) < 0.95 - 2 * (0.95 * 0.05 / len(held)) ** 0.5
            print(_row(name, spread, outcomes), flush=True)
    return int(broken)


def _seconds(cost: "np.ndarray[tuple[int, int], np.dtype[np.int64]]") -> float:
    started = time.perf_counter()
    best_pairs(cost)
    return time.perf_counter() - started


def _row(name: str, spread: float, outcomes: list[Outcome]) -> str:
    def mean(values: list[float]) -> float:
        return float(np.mean(values))

    held = mean([float(h) for o in outcomes for h in o.held])
    seen = mean([float(h) for o in outcomes for h in o.seen_held])
    true = 100 * mean([x for o in outcomes for x in o.true_share])
    limit = 100 * mean([x for o in outcomes for x in o.limit_share])
    wider = mean([x for o in outcomes for x in o.from_full_u])
    pairs = sum(len(o.held) for o in outcomes)
    return f"| {name} | {spread:g} | {pairs} | {held:.1%} | {seen:.1%} | {true:.2f} | {limit:.2f} | {wider:.2f} |"


if __name__ == "__main__":
    sys.exit(main())
