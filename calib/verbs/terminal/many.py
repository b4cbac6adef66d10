"""The same work on many bands: here or in worker processes, in order, with a bar. What the work is, is the caller's.

One item never costs the others: an unexpected error becomes that item's failure in words, and a worker that is killed
(by hand, or by a system short of memory) is replaced. Which of the items in hand killed it is not known, so they are
tried again one at a time while nothing else is done; an item that kills its worker when it is alone has failed.
"""

import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import TypeVar

from calib.errors import fault
from calib.use.box.fitting import MapWithProgress
from calib.verbs.terminal.progress import Progress

ENOUGH_FOR_A_POOL = 24  # pieces of work: starting processes costs a second or two each
CHUNK = 8
AHEAD = 3  # chunks begun or done before they are asked for, for each worker
REAP_S = 1.0  # how long the system may take to clear a killed process away; one that is stuck in it is left behind
_GONE = (EOFError, OSError)  # what a pipe says when nobody is at its other end
KILLED = "its worker process was killed, perhaps out of memory; fit this file alone"

T = TypeVar("T")
R = TypeVar("R")


@contextmanager
def workers(pieces: int, jobs: int) -> Iterator[MapWithProgress]:
    """How to do work: here for a few pieces, in so many processes for many.

    Args:
        pieces: About how many there are.
        jobs: Processes, at most.
    """
    if pieces < ENOUGH_FOR_A_POOL or jobs == 1:
        yield _in_this_process
        return
    pool = WorkerPool(jobs)

    def in_the_pool(
        doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]
    ) -> Iterator[R]:
        return _with_bar(doing, len(items), pool.map(partial(_tried, work, failed), items, failed))

    try:
        yield in_the_pool
    finally:
        pool.close()


@dataclass(eq=False)
class _Worker:
    """One process and the pipe to it, with the items it has in hand."""

    process: BaseProcess
    pipe: Connection
    at: int = -1  # which chunk it has in hand; -1: none


@dataclass
class WorkerPool:
    """Worker processes that are replaced when one of them is killed.

    Each has a pipe of its own and holds no lock that another waits for: one that dies at any moment stops nobody, and
    the end waits for nobody.
    """

    jobs: int
    _workers: list[_Worker] = field(default_factory=list, init=False)

    def map(self, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]) -> Iterator[R]:
        """Do the work on every item; results in order."""
        chunks = [items[i : i + CHUNK] for i in range(0, len(items), CHUNK)]
        to_do, suspects = deque(range(len(chunks))), deque[int]()
        results: dict[int, list[R]] = {}
        for at in range(len(chunks)):
            while True:
                while to_do and to_do[0] < at + AHEAD * self.jobs and not suspects and (free := self._free()):
                    self._give(free, to_do.popleft(), chunks, work)
                if at in results:
                    break
                if any(worker.at >= 0 for worker in self._workers):
                    self._collect(results, suspects)
                else:
                    one = suspects.popleft()
                    results[one] = [self._alone(work, item, failed) for item in chunks[one]]
            yield from results.pop(at)

    def _free(self) -> _Worker | None:
        """A worker with nothing in hand, begun where there are too few."""
        free = next((worker for worker in self._workers if worker.at < 0), None)
        return free or (self._begin() if len(self._workers) < self.jobs else None)

    def _begin(self) -> _Worker:
        context = get_context("spawn")
        mine, its = context.Pipe()
        process = context.Process(target=_serve, args=(its,), daemon=True)
        with _interrupts_wait():
            process.start()
        its.close()  # or the end of the worker would not be seen
        self._workers.append(_Worker(process, mine))
        return self._workers[-1]

    def _give(self, worker: _Worker, at: int, chunks: Sequence[Sequence[T]], work: Callable[[T], R]) -> None:
        worker.at = at
        with suppress(OSError):  # it is dead, which is seen when its answer is waited for
            worker.pipe.send((work, chunks[at]))

    def _collect(self, results: dict[int, list[R]], suspects: "deque[int]") -> None:
        """Wait until a worker has something to say, or is no more."""
        busy = {worker.pipe: worker for worker in self._workers if worker.at >= 0}
        for pipe in wait(list(busy)):
            worker = busy[pipe]  # type: ignore[index]
            try:
                results[worker.at] = worker.pipe.recv()
                worker.at = -1
            except _GONE:
                suspects.append(worker.at)
                self._end(worker)

    def _alone(self, work: Callable[[T], R], item: T, failed: Callable[[T, str], R]) -> R:
        """The work on one item while nothing else is done."""
        results: dict[int, list[R]] = {}
        worker = self._free()
        assert worker is not None  # nobody is busy
        self._give(worker, 0, [[item]], work)
        self._collect(results, deque())
        return results[0][0] if results else failed(item, KILLED)

    def _end(self, worker: _Worker) -> None:
        self._workers.remove(worker)
        worker.process.kill()
        worker.pipe.close()
        worker.process.join(REAP_S)

    def close(self) -> None:
        """End the processes, whatever they are at; the next work starts new ones."""
        for worker in list(self._workers):
            self._end(worker)


def _serve(pipe: Connection) -> None:
    """What a worker does: work as it comes, until nobody is there any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for who began this
    with suppress(*_GONE):
        while True:
            work, items = pipe.recv()
            pipe.send([work(item) for item in items])


@contextmanager
def _interrupts_wait() -> Iterator[None]:
    """A process begun here never sees Ctrl-C, not even while its modules are loaded; here it comes a moment later."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _tried(work: Callable[[T], R], failed: Callable[[T, str], R], item: T) -> R:
    """The work; what nobody expected is said of this item alone."""
    try:
        return work(item)
    except Exception as error:  # a defect, and the other files are not to pay for it
        return failed(item, fault(error))


def _in_this_process(
    doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]
) -> Iterator[R]:
    return _with_bar(doing, len(items), map(partial(_tried, work, failed), items))


def _with_bar(doing: str, of: int, results: Iterable[R]) -> Iterator[R]:
    """The same, with a bar that grows."""
    bar = Progress(doing) if doing else None
    try:
        for i, result in enumerate(results, 1):
            if bar:
                bar.tell(i / of)
            yield result
    finally:
        if bar:
            bar.close()
