"""Computing time of a large invented evening, as in docs/lineup.md: `python -m tests.campaigns.lineup_speed`."""

from dataclasses import replace
from time import perf_counter, process_time

from calib.use.lineup.lifters_table import Turn
from calib.use.lineup.lineup import Lineup, line_up
from calib.use.rig.from_python import made_pairs
from calib.use.rig.plates import Plates
from calib.use.rig.solve import Sought, Wish
from tests.use.rig.test_solve import asked, bands

PLATES = [Plates(20, 6), Plates(15, 2), Plates(10, 4), Plates(5, 4), Plates(2.5, 4), Plates(1.25, 2), Plates(0.5, 2)]
HOLES = [0.08 + 0.05 * i for i in range(8)]


def large_box(most: int) -> Sought:
    """Forty bands in twenty pairs, eight holes, seven kinds of plates."""
    strengths = [40.0 + 6.0 * i + twin for i in range(20) for twin in (0.0, 1.0)]
    base = asked(candidates=bands(*strengths), heights=HOLES, arrangements=["straight"], plates=PLATES, most=most)
    return replace(base, pairs=made_pairs(base), wishes=())


def twenty_lifters() -> list[Turn]:
    """Twenty lifters of different heights and strengths."""
    return [
        Turn(f"L{n}", 1.30 + 0.005 * n, 1.62 + 0.007 * n, (Wish("bottom", 60.0 + 4 * n), Wish("top", 80.0 + 5 * n)))
        for n in range(20)
    ]


def planned(most: int) -> tuple[Lineup, float, float]:
    """The plan, its processor time and its time on the clock. [s]"""
    base, turns = large_box(most), twenty_lifters()
    begun, clock = process_time(), perf_counter()
    found = line_up(base, turns)
    return found, process_time() - begun, perf_counter() - clock


if __name__ == "__main__":
    for most in (1, 2):
        found, busy, clock = planned(most)
        moves = sum(p.moves for p in found.turns)
        print(f"--most {most}: {busy:.1f} s of computing, {clock:.1f} s on the clock, {moves} moves, "
              f"at most {found.fewer_moves} fewer")  # fmt: skip
