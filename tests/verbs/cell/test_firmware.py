"""Held points of what the reference firmware says in the emulator: its lines, read as they are read from a port."""

import numpy as np
import pytest

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.meter import Meter
from calib.acquire.points.held import HeldPoint, HoldRules, HoldWatch
from tests.firmware.harness import said_by_firmware
from tests.firmware.script import Hold, Pull, Script, by_hand

PER_N, ZERO = 1097.0, 84210.0
COUNT = 10


def _holds(seed: int, top: float) -> Pull:
    """Ways out, with the band let go between them."""
    random = np.random.default_rng(seed)
    holds = []
    for _ in range(COUNT):
        force, ramp = float(np.exp(random.uniform(np.log(20), np.log(top)))), float(random.uniform(5, 60))
        holds += [Hold(force, ramp, 20.0, -float(random.uniform(0.01, 0.03))), Hold(0.0, 80.0, 4.0, 0.0)]
    return Pull(holds)


def _points(said: bytes, rules: HoldRules) -> list[HeldPoint]:
    reader, watch, found = LineReader(), HoldWatch(rules, way=1), list[HeldPoint]()
    meter = Meter(1 / PER_N, -ZERO / PER_N)
    for line in said.splitlines(keepends=True):
        clock = line.split(b",")[0]
        at_s = int(clock) / 1000 if clock.isdigit() else 0.0
        for record in reader.feed(line, at_s):
            value = meter.value(record)
            if value is not None:
                found += [e.point for e in watch.feed(record.at_s, value) if e.point]
    return [p for p in found if p.force > 5.0]


@pytest.mark.slow
@pytest.mark.parametrize(("rate", "hand"), [(10.0, False), (80.0, False), (10.0, True)])
def test_held_points_of_the_firmwares_lines(rate: float, hand: bool, emulator: None) -> None:
    pull = _holds(int(rate), 350.0 if hand else 700.0)
    force = by_hand(pull, seed=3) if hand else pull
    said, _ = said_by_firmware(Script(force, pull.duration_s(), counts_per_newton=PER_N, zero_counts=ZERO), rate)
    points = _points(said, HoldRules.hand() if hand else HoldRules.strap())
    truths = [h for h in pull.held() if h.hold.force > 5.0]
    assert len(points) == len(truths) == COUNT
    inside = 0
    for point, held in zip(points, truths, strict=True):
        truth = float(held.hold.at(np.array([point.dwell_s]))[0])
        inside += abs(point.force - truth) < 1.96 * point.total_u(1 / PER_N, 0.0, 0.0)
        assert point.force == pytest.approx(truth, rel=0.03 if hand else 0.003)
    assert inside >= COUNT * 0.9 - 4 * (COUNT * 0.9 * 0.1) ** 0.5
