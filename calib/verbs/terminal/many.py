"""The same work on many bands: here or in worker processes, in order, with a bar. What the work is, is the caller's.

One item never costs the others: an unexpected error becomes that item's failure in words, and a worker that is killed
(by hand, or by a system short of memory) is replaced. Which of the items in hand killed it is not known, so those of
the earliest unfinished chunk are tried again one at a time; an item that kills its worker when it is alone has failed.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from multiprocessing import get_context
from typing import Protocol, TypeVar

from calib.verbs.terminal.progress import Progress

ENOUGH_FOR_A_POOL = 24  # pieces of work: starting processes costs a second or two each
CHUNK = 8
AHEAD = 3  # chunks in hand for each worker
KILLED = "its worker process was killed, perhaps for want of memory; fit this file by itself"

T = TypeVar("T")
R = TypeVar("R")


class MapWithProgress(Protocol):
    """Does a piece of work on each of some items; results in order."""

    def __call__(
        self, doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]
    ) -> Iterator[R]:
        """Do it.

        Args:
            doing: What to call it beside the bar; empty for no bar.
            work: A function of a module, or a partial of one, so that another process finds it.
            items: What it is done on.
            failed: Makes the result of an item that could not be done, of it and a sentence; of a module too.
        """
        ...


@contextmanager
def workers(pieces: int, jobs: int) -> Iterator[MapWithProgress]:
    """How to do work: here for a few pieces, in so many processes for many.

    Args:
        pieces: About how many there are.
        jobs: Processes, at most.
    """
    if pieces < ENOUGH_FOR_A_POOL or jobs == 1:
        yield _here
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


@dataclass
class WorkerPool:
    """Worker processes that are replaced when one of them is killed."""

    jobs: int
    _pool: ProcessPoolExecutor | None = field(default=None, init=False)

    def map(self, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]) -> Iterator[R]:
        """Do the work on every item; results in order."""
        chunks = deque(items[i : i + CHUNK] for i in range(0, len(items), CHUNK))
        in_hand: deque[tuple[Sequence[T], Future[list[R]]]] = deque()
        while chunks or in_hand:
            try:
                while chunks and len(in_hand) < AHEAD * self.jobs:
                    in_hand.append((chunks[0], self._submit(work, chunks[0])))
                    chunks.popleft()
                done = in_hand[0][1].result()
            except BrokenProcessPool:
                chunks.extendleft(chunk for chunk, _ in reversed(in_hand))
                in_hand.clear()
                self.close()
                done = [self._alone(work, item, failed) for item in chunks.popleft()]
            else:
                in_hand.popleft()
            yield from done

    def _submit(self, work: Callable[[T], R], chunk: Sequence[T]) -> "Future[list[R]]":
        if self._pool is None:
            self._pool = ProcessPoolExecutor(self.jobs, mp_context=get_context("spawn"))
        return self._pool.submit(_chunk, work, chunk)

    def _alone(self, work: Callable[[T], R], item: T, failed: Callable[[T, str], R]) -> R:
        try:
            return self._submit(work, [item]).result()[0]
        except BrokenProcessPool:
            self.close()
            return failed(item, KILLED)

    def close(self) -> None:
        """End the processes; the next work starts new ones."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
            self._pool = None


def _chunk(work: Callable[[T], R], items: Sequence[T]) -> list[R]:
    return [work(item) for item in items]


def _tried(work: Callable[[T], R], failed: Callable[[T, str], R], item: T) -> R:
    """The work; what nobody expected is said of this item alone."""
    try:
        return work(item)
    except Exception as error:  # a defect, and the other files are not to pay for it
        return failed(item, fault(error))


def fault(error: Exception) -> str:
    """An error that nobody expected, in one sentence."""
    said = " ".join(str(error).split())[:120]
    return f"bandcurve has a fault here, please report it with this file ({type(error).__name__}: {said})"


def _here(doing: str, work: Callable[[T], R], items: Sequence[T], failed: Callable[[T, str], R]) -> Iterator[R]:
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
