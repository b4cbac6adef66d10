"""The campaign behind docs/held_points.md: `python -m tests.campaigns.held_points [COUNT]` prints its tables.

Behind the count one table can be named: holds, devices, ramps or slow.
"""

import sys
from collections.abc import Callable

from tests.acquire.points.scenes import Kind
from tests.acquire.points.scoring import Score, false_captures, holds

HAND = {"grip": "hand", "force": (15.0, 400.0), "hold_s": 14.0}
KINDS: dict[str, Kind] = {
    "strap, 10/s": Kind(),
    "strap, 11.3/s": Kind(rate=11.3),
    "strap, 80/s": Kind(rate=80.0),
    "strap, 10/s, 4-8 % a decade": Kind(relaxing=(4.0, 8.0)),
    "strap, 10/s, a knock": Kind(knock=True, hold_s=25.0),
    "strap, 10/s, pauses under way": Kind(pauses=True),
    "strap, 10/s, 5 % too far and back": Kind(overshoot=True),
    "strap, 80/s, one sample in 100 wild": Kind(rate=80.0, spikes=True),
    "hand, 10/s": Kind(**HAND),  # type: ignore[arg-type]
    "hand, 11.3/s": Kind(rate=11.3, **HAND),  # type: ignore[arg-type]
    "hand, 80/s": Kind(rate=80.0, **HAND),  # type: ignore[arg-type]
    "hand, 80/s, pauses under way": Kind(rate=80.0, pauses=True, **HAND),  # type: ignore[arg-type]
}
DEVICES: dict[str, Kind] = {
    "a filter of 0.5 s": Kind(lag_s=0.5, hold_s=30.0),
    "a filter of 1.5 s": Kind(lag_s=1.5, hold_s=30.0),
    "a filter of 1.5 s, 4-8 % a decade": Kind(lag_s=1.5, hold_s=30.0, relaxing=(4.0, 8.0)),
    "the mean of 1 s": Kind(mean_s=1.0, hold_s=30.0),
    "the mean of 2 s": Kind(mean_s=2.0, hold_s=30.0),
    "only what stood for 0.7 s": Kind(settles_s=0.7, hold_s=50.0),
    "only what stood for 1.5 s": Kind(settles_s=1.5, hold_s=50.0),
    "silent for 0.5-1.4 s": Kind(silent=(0.5, 1.4), hold_s=30.0),
    "silent for 1-3 s": Kind(silent=(1.0, 3.0), hold_s=30.0),
    "zero drifts by 0.003 N/s": Kind(drift=0.003, hold_s=30.0),
    "zero drifts by 0.02 N/s": Kind(drift=0.02, hold_s=30.0),
    "one line in five torn": Kind(torn=0.2, hold_s=30.0),
    "one line in five torn, 80/s": Kind(torn=0.2, rate=80.0, hold_s=30.0),
}
SPEEDS = (0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0)  # [N/s]


def main(count: int, only: str = "") -> None:
    """Print the tables, or one of them."""
    tables: dict[str, Callable[[], None]] = {
        "holds": lambda: _holds(KINDS, count, 100),
        "devices": lambda: _holds(DEVICES, count, 500),
        "ramps": lambda: _ramps(count),
        "slow": lambda: _slow_ramps(count),
    }
    for name, table in tables.items():
        if only in ("", name):
            table()
            print()


def _holds(kinds: dict[str, Kind], count: int, seed: int) -> None:
    print(
        "| stretch | held | missed | too early | rms % | 95 % below | worst % | 95 % intervals hold | u % | stop, s |"
    )
    print("|---|---|---|---|---|---|---|---|---|---|")
    for i, (name, kind) in enumerate(kinds.items()):
        print(_row(name, holds(kind, count, seed + i)), flush=True)


def _ramps(count: int) -> None:
    print("| ramps of 5-20 N/s that do not stop | ramps | with a capture |\n|---|---|---|")
    for seed, (name, kind) in enumerate(KINDS.items()):
        if name in ("strap, 10/s", "strap, 11.3/s", "strap, 80/s", "hand, 10/s", "hand, 11.3/s", "hand, 80/s"):
            ramps = Kind(kind.grip, kind.rate, kind.force, (5.0, 20.0))
            print(f"| {name} | {count} | {false_captures(ramps, count, 200 + seed)} |", flush=True)


def _slow_ramps(few: int) -> None:
    print("| ramp, N/s | strap: with a capture | hand: with a capture |\n|---|---|---|")
    for speed in SPEEDS:
        seen = [
            false_captures(Kind(grip, 10.0, (15.0, top), (speed, speed * 1.0001)), few, 300)
            for grip, top in (("strap", 700.0), ("hand", 400.0))
        ]
        print(f"| {speed:g} | {seen[0]} of {few} | {seen[1]} of {few} |", flush=True)


def _row(name: str, s: Score) -> str:
    held = s.count - s.missed
    return (
        f"| {name} | {held} of {s.count} | {100 * s.missed / s.count:.1f} % | {s.false} | {s.rms_percent:.3f} "
        f"| {s.p95_percent:.3f} | {s.worst_percent:.2f} | {100 * s.covered / held:.1f} % | {s.u_percent:.3f} "
        f"| {s.stop_s[0]:+.1f} to {s.stop_s[1]:+.1f} |"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500, *sys.argv[2:3])
