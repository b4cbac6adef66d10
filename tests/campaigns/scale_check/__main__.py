"""The full campaign: `python -m tests.campaigns.scale_check [checks per kind]` prints docs/scale_check.md's table."""

import sys

from tests.campaigns.scale_check.simulated import KINDS, campaign

HEAD = "| scale and loads | held, % | at 25, 50, 75, 100 % | rms error / u | u at the top, % |\n|---|---|---|---|---|"


def main(checks: int) -> int:
    print(HEAD)
    bad = 0
    for index, kind in enumerate(KINDS):
        result = campaign(index, checks)
        places = " ".join(f"{100 * p:.1f}" for p in result.places)
        good = kind.least <= result.held <= kind.most
        bad += kind.assumed and not good
        mark = "" if good else " (outside)" if kind.assumed else " (worse than is assumed)"
        print(
            f"| {kind.name} | {100 * result.held:.1f}{mark} | {places} | {result.rms:.2f} | {100 * result.u_top:.3f} |",
            flush=True,
        )
    print("every kind within its limits" if not bad else f"{bad} kinds outside their limits")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
