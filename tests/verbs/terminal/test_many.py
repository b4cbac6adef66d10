"""Work on many files in worker processes: one that fails, or whose worker is killed, never costs the others."""

import os
import signal
import time
from pathlib import Path
from random import Random

import pytest

from calib.verbs.terminal.many import CHUNK, ENOUGH_FOR_A_POOL, KILLED, WorkerPool, workers
from tests.campaigns.attack.workers import killed_workers

MANY = 3 * ENOUGH_FOR_A_POOL


def double(n: int) -> int | str:
    return 2 * n


def said(n: int, sentence: str) -> int | str:
    return f"{n}: {sentence}"


def faulty(n: int) -> int | str:
    if n == 5:
        raise RecursionError("much too deep")
    return 2 * n


def deadly(n: int) -> int | str:
    if n == 30:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * n


def killed_once(flag: Path, n: int) -> int | str:
    if n == 30 and not flag.exists():
        flag.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * n


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_fault_in_one_file_is_a_sentence_for_that_file(jobs: int) -> None:
    with workers(MANY, jobs) as each:
        done = list(each("", faulty, range(MANY), said))
    assert done[5] == ("5: bandcurve has a fault here, please report it with this file (RecursionError: much too deep)")
    assert [d for i, d in enumerate(done) if i != 5] == [2 * i for i in range(MANY) if i != 5]


def test_an_item_that_kills_its_worker_fails_alone_and_in_order() -> None:
    with workers(MANY, 2) as each:
        done = list(each("", deadly, range(MANY), said))
    assert done[30] == f"30: {KILLED}"
    assert [d for i, d in enumerate(done) if i != 30] == [2 * i for i in range(MANY) if i != 30]


def test_a_worker_killed_by_hand_costs_nothing(tmp_path: Path) -> None:
    from functools import partial

    with workers(MANY, 2) as each:
        done = list(each("", partial(killed_once, tmp_path / "flag"), range(MANY), said))
    assert (tmp_path / "flag").exists()
    assert done == [2 * i for i in range(MANY)]


def asleep(n: int) -> int | str:
    if n:
        time.sleep(600)
    return n


def test_workers_killed_again_and_again_cost_nothing() -> None:
    tally = killed_workers(Random(1), 6)
    assert tally.tried and not tally.troubles, tally.told()


def test_the_end_waits_for_no_worker() -> None:
    pool = WorkerPool(2)
    assert next(pool.map(asleep, [0] * CHUNK + [1] * 20, said)) == 0
    began = time.perf_counter()
    pool.close()
    assert time.perf_counter() - began < 2


def test_a_pool_can_be_used_again_after_its_end() -> None:
    pool = WorkerPool(2)
    assert list(pool.map(double, range(20), said)) == [2 * i for i in range(20)]
    pool.close()
    assert list(pool.map(double, range(20), said)) == [2 * i for i in range(20)]
    pool.close()
    began = time.perf_counter()
    pool.close()
    assert time.perf_counter() - began < 1
