"""The same work on many bands: here or in some processes, in order, with a bar. What the work is, is the caller's."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Protocol, TypeVar

from calib.verbs.terminal.progress import Progress

ENOUGH_FOR_A_POOL = 24  # pieces of work: starting processes costs a second or two each
CHUNK = 8

T = TypeVar("T")
R = TypeVar("R")


class Each(Protocol):
    """Does a piece of work on each of some things; results in order."""

    def __call__(self, doing: str, work: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
        """Do it.

        Args:
            doing: What to call it beside the bar; empty for no bar.
            work: A function of a module, or a partial of one, so that another process finds it.
            items: What it is done on.
        """
        ...


@contextmanager
def workers(pieces: int, jobs: int) -> Iterator[Each]:
    """How to do work: here for a few pieces, in so many processes for many.

    Args:
        pieces: About how many there are.
        jobs: Processes, at most.
    """
    if pieces < ENOUGH_FOR_A_POOL or jobs == 1:
        yield _here
        return
    pool = ProcessPoolExecutor(jobs, mp_context=get_context("spawn"))

    def in_the_pool(doing: str, work: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
        return _told(doing, len(items), pool.map(work, items, chunksize=CHUNK))

    try:
        yield in_the_pool
    finally:
        pool.shutdown(cancel_futures=True)


def _here(doing: str, work: Callable[[T], R], items: Sequence[T]) -> Iterator[R]:
    return _told(doing, len(items), map(work, items))


def _told(doing: str, of: int, results: Iterable[R]) -> Iterator[R]:
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
