"""Workers killed at any moment: while they start, work, or hand over a large answer. Nothing is lost, nothing hangs."""

import os
import signal
import time
from contextlib import suppress
from random import Random
from threading import Event, Thread

from calib.verbs.terminal.many import KILLED, WorkerPool
from tests.campaigns.attack.tally import Tally

ITEMS = 120
KILLS = 2  # for each run of the pool
LONGEST_S = 20.0


def killed_workers(rng: Random, kills: int) -> Tally:
    """Run pools until so many workers were killed."""
    tally = Tally("workers of a pool killed at any moment")
    worst = 0.0
    done = 0
    while done < kills:
        began = time.monotonic()
        hit, trouble = _one_run(rng)
        took = time.monotonic() - began
        worst = max(worst, took)
        done += hit
        tally.count(trouble or (f"took {took:.1f} s" if took > LONGEST_S else ""))
    tally.remark = f"{done} kills in {tally.tried} runs; the slowest run took {worst:.1f} s"
    return tally


def _one_run(rng: Random) -> tuple[int, str]:
    pool, over = WorkerPool(2), Event()
    killed: list[int] = []

    def killer() -> None:
        while len(killed) < KILLS and not over.wait(rng.random() * 0.3):
            for worker in list(pool._workers)[:1]:
                if worker.process.pid:
                    with suppress(ProcessLookupError):  # ended meanwhile
                        os.kill(worker.process.pid, signal.SIGKILL)
                        killed.append(worker.process.pid)

    thread = Thread(target=killer)
    thread.start()
    try:
        done = list(pool.map(_work, range(ITEMS), _failed))
    finally:
        over.set()
        thread.join()
        pool.close()
    if [n for n, _ in done] != list(range(ITEMS)):
        return len(killed), "results missing or out of order"
    failed = sum(answer == KILLED for _, answer in done)
    return len(killed), f"{failed} items failed" if failed > len(killed) - 1 > 0 else ""


def _work(n: int) -> tuple[int, str]:
    time.sleep(0.002)
    return n, "x" * (200_000 if n % 3 == 0 else 1)


def _failed(n: int, sentence: str) -> tuple[int, str]:
    return n, sentence
