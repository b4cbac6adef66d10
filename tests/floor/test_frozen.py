"""A frozen dataclass declared cheaply behaves as the standard library's does."""

import dataclasses
import pickle
import time
from collections.abc import Callable
from typing import Any

import pytest

from calib.finding import Finding
from calib.frozen import dataclass
from calib.records import Band


def _kinds(decorate: Callable[..., Any]) -> Any:
    @decorate(frozen=True)
    class Base:
        """A base."""

        a: float
        b: str = "x"

    @decorate(frozen=True, kw_only=True)
    class Below(Base):
        c: int
        d: list[int] = dataclasses.field(default_factory=list)

    return Base, Below


CALLS: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((1.0,), {}),
    ((1.0, "y"), {}),
    ((), {"a": 2.0}),
    ((), {"b": "z", "a": 2.0}),
    ((1.0,), {"c": 3}),
    ((), {"a": 1.0, "c": 3, "d": [4]}),
    ((), {}),
    ((), {"b": "y"}),
    ((1.0, "y", 3), {}),
    ((1.0,), {"a": 2.0}),
    ((1.0,), {"nothing": 2.0}),
    ((1.0, "y"), {"c": 3, "nothing": 2.0}),
]


def _outcome(kind: Any, given: tuple[Any, ...], named: dict[str, Any]) -> Any:
    try:
        made = kind(*given, **named)
    except TypeError:
        return TypeError
    return repr(made).rpartition(".")[2], list(vars(made)), dataclasses.asdict(made)


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize(("given", "named"), CALLS)
def test_it_is_made_as_the_standard_librarys(which: int, given: tuple[Any, ...], named: dict[str, Any]) -> None:
    ours, theirs = _kinds(dataclass)[which], _kinds(dataclasses.dataclass)[which]
    assert _outcome(ours, given, named) == _outcome(theirs, given, named)
    assert [f.name for f in dataclasses.fields(ours)] == [f.name for f in dataclasses.fields(theirs)]
    assert ours.__match_args__ == theirs.__match_args__


def test_it_is_compared_hashed_and_changed_as_the_standard_librarys() -> None:
    base, below = _kinds(dataclass)
    assert base(1.0) == base(1.0, "x") != base(2.0)
    assert hash(base(1.0)) == hash(base(1.0, "x"))
    assert base(1.0) != below(a=1.0, c=1)
    assert dataclasses.replace(base(1.0), b="y") == base(1.0, "y")
    with pytest.raises(TypeError):
        hash(below(a=1.0, c=1))  # it holds a list
    made = base(1.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.a = 2.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        del made.a
    assert below(a=1.0, c=1).d is not below(a=1.0, c=1).d


def test_it_checks_itself_and_is_pickled() -> None:
    with pytest.raises(ValueError, match="no-such-code"):
        Finding("no-such-code", "")
    band = Band("B07", 1.03)
    assert pickle.loads(pickle.dumps(band)) == band


def test_declaring_it_costs_a_fraction() -> None:
    def taken(decorate: Callable[..., Any]) -> float:
        best = 1.0
        for _ in range(5):
            start = time.process_time()
            for _ in range(20):
                _kinds(decorate)
            best = min(best, time.process_time() - start)
        return best

    assert 4 * taken(dataclass) < taken(dataclasses.dataclass)
