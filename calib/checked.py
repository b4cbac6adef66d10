"""Values of a file checked against the types they should have: quickly, where nothing is wrong.

The types are dataclasses whose annotations say what a field may hold: `Annotated[float, Limits(ge=0)]`. `quick` makes
one of parsed JSON or TOML, or gives up; what it gives up on is judged by pydantic (`checked_words`), which takes longer
to load than most commands take, and says what is wrong and where. `quick` accepts nothing that pydantic would not, and
gives the same values; a test holds that. Strict throughout: a number is no text, nothing is unknown, nothing infinite.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, field, fields
from datetime import datetime
from functools import cache
from math import inf, isfinite
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Self, TypeVar, Union, dataclass_transform, get_args, get_origin

from calib.frozen import frozen

Reader = Callable[[Any], Any]
Kind = TypeVar("Kind")


class Limits:
    """What a number, a text or the length of a list is held to, in an `Annotated`."""

    __slots__ = ("limits",)

    def __init__(self, **limits: Any) -> None:
        self.limits = limits  # ge, gt, le, lt; pattern; min_length, max_length

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        return {**handler(source), **self.limits}


class After:
    """A function that checks a value of the right type and gives it back, with the pattern for its schema if any."""

    __slots__ = ("check", "schema")

    def __init__(self, check: Reader, **schema: Any) -> None:
        self.check = check
        self.schema = schema

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> Any:
        from pydantic_core.core_schema import no_info_after_validator_function

        return no_info_after_validator_function(self.check, handler(source))

    def __get_pydantic_json_schema__(self, core: Any, handler: Any) -> Any:
        return {**handler(core), **self.schema}


def Field(  # noqa: N802 - it stands where a class would
    default: Any = MISSING, *, default_factory: Any = MISSING, **about: Any
) -> Any:
    """A field of a part with what is to be said of it: `description`, or the `alias` it has in the file."""
    return field(default=default, default_factory=default_factory, metadata=about)


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(Field,))
class Part:
    """A part of a document: frozen, its fields given by name and checked. `__post_init__` checks it as a whole."""

    def __init_subclass__(cls) -> None:
        """Make it a dataclass."""
        frozen(cls, kw_only=True)
        cls.__init__ = Part.__init__  # type: ignore[method-assign]

    def __init__(self, **values: Any) -> None:
        self.__dict__.update(vars(type(self).model_validate(values)))

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        return iter(vars(self).items())

    @classmethod
    def model_validate(cls, document: Mapping[str, Any], strict: bool = True) -> Self:
        """Make one of plain values or parts, by the names of the file."""
        made = quick(cls, document) if strict else None
        if made is not None:
            return made
        from calib.checked_words import judged

        return judged(cls, {key: dumped(value) for key, value in document.items()}, strict=strict)

    def model_copy(self, *, update: dict[str, Any]) -> Self:
        """The same with some fields changed, which are not checked again."""
        made = object.__new__(type(self))
        made.__dict__.update(vars(self) | update)
        return made

    def model_dump(self, **_: Any) -> dict[str, Any]:
        """Plain values, by the names of the file."""
        names = {f.name: f.metadata.get("alias", f.name) for f in fields(self)}  # type: ignore[arg-type]
        return {names.get(name, name): dumped(value) for name, value in vars(self).items()}


def dumped(value: Any) -> Any:
    """Plain values in the place of parts."""
    if isinstance(value, Part):
        return value.model_dump()
    if isinstance(value, dict):
        return {key: dumped(inner) for key, inner in value.items()}
    return type(value)(map(dumped, value)) if isinstance(value, list | tuple) else value


class _UnfitError(Exception):
    """Not what it should be, or not plainly."""


def quick(kind: type[Kind], document: Any) -> Kind | None:
    """Make a checked value of parsed JSON; None where anything is wrong, or out of the ordinary.

    Args:
        kind: A dataclass.
        document: Plain values.
    """
    whole: Any = kind
    try:
        return _reader(whole)(document)  # type: ignore[no-any-return]
    except Exception:  # whatever it is, the slow way says it
        return None


@cache
def _reader(kind: Any) -> Reader:
    """How a value of a type is read."""
    origin, inner = get_origin(kind), get_args(kind)
    if kind in _PLAIN:
        return _PLAIN[kind]
    if origin is Annotated:
        return _annotated(inner[0], kind.__metadata__)
    if origin is Literal:
        return _one_of(inner)
    if origin in (Union, UnionType) and len(inner) == 2 and inner[1] is NoneType:
        return _or_none(_reader(inner[0]))
    if origin is tuple:
        return _list(inner[0], 0, None) if inner[1:] == (...,) else _row(tuple(map(_reader, inner)))
    if origin is dict and inner[0] is str:
        return _table(_reader(inner[1]))
    return _whole(kind)


def _whole(kind: Any) -> Reader:
    """Of a dataclass."""
    known: dict[str, tuple[Any, Reader]] = {}
    for f in fields(kind):
        of_field: Any = f.type
        known[f.metadata.get("alias", f.name)] = f, _reader(of_field)
    needed = {key for key, (f, _) in known.items() if f.default is f.default_factory is MISSING}
    checks = hasattr(kind, "__post_init__")

    def read(value: Any) -> Any:
        if type(value) is kind:
            return value
        if type(value) is not dict or not needed <= value.keys() or not value.keys() <= known.keys():
            raise _UnfitError
        made = object.__new__(kind)
        own = made.__dict__
        for key, (f, of) in known.items():
            if key in value:
                own[f.name] = of(value[key])
            else:
                own[f.name] = f.default if f.default is not MISSING else f.default_factory()
        if checks:
            made.__post_init__()
        return made

    return read


def _annotated(kind: Any, marks: tuple[Any, ...]) -> Reader:
    limits: dict[str, Any] = {}
    checks: list[Reader] = []
    for mark in marks:
        if isinstance(mark, Limits) and not checks:
            limits |= mark.limits
        elif isinstance(mark, After):
            checks.append(mark.check)
        else:
            raise TypeError(f"{mark} is no limit that is known here")
    read = _limited(kind, limits) if limits else _reader(kind)
    for check in checks:
        read = _then(read, check)
    return read


def _then(read: Reader, check: Reader) -> Reader:
    return lambda value: check(read(value))


def _limited(kind: Any, limits: Mapping[str, Any]) -> Reader:
    if kind in (int, float):
        return _within(_PLAIN[kind], limits)
    if kind is str and limits.keys() == {"pattern"}:
        return _matching(re.compile(limits["pattern"].removeprefix("^").removesuffix("$"), re.ASCII))
    if get_origin(kind) is tuple and get_args(kind)[1:] == (...,):
        return _list(get_args(kind)[0], limits.get("min_length", 0), limits.get("max_length"))
    raise TypeError(f"{kind} with {limits} is not known here")


def _within(read: Reader, limits: Mapping[str, Any]) -> Reader:
    low, high = limits.get("ge", -inf), limits.get("le", inf)
    above, below = limits.get("gt", -inf), limits.get("lt", inf)

    def within(value: Any) -> Any:
        value = read(value)
        if low <= value <= high and above < value < below:
            return value
        raise _UnfitError

    return within


def _number(value: Any) -> float:
    if type(value) is int:
        return float(value)
    if type(value) is float and isfinite(value):
        return value
    raise _UnfitError


def _text(value: Any) -> str:
    if type(value) is not str:
        raise _UnfitError
    if not value.isascii():
        value.encode()  # a half of a surrogate pair is no text
    return value


def _matching(pattern: re.Pattern[str]) -> Reader:
    def matching(value: Any) -> Any:
        if type(value) is str and value.isascii() and pattern.fullmatch(value):
            return value
        raise _UnfitError

    return matching


def _of_type(kind: Any) -> Reader:
    def read(value: Any) -> Any:
        if type(value) is kind:
            return value
        raise _UnfitError

    return read


def _one_of(values: tuple[Any, ...]) -> Reader:
    allowed = {(type(value), value) for value in values}

    def read(value: Any) -> Any:
        if (type(value), value) in allowed:
            return value
        raise _UnfitError

    return read


def _or_none(read: Reader) -> Reader:
    return lambda value: None if value is None else read(value)


def _list(kind: Any, least: int, most: int | None) -> Reader:
    read = _reader(kind)
    plain, *marks = get_args(kind) if get_origin(kind) is Annotated else (kind,)
    numbers = plain is float and all(isinstance(mark, Limits) for mark in marks)

    def of_list(value: Any) -> tuple[Any, ...]:
        if type(value) not in (list, tuple) or not least <= len(value) or (most is not None and len(value) > most):
            raise _UnfitError
        if numbers and {float}.issuperset(map(type, value)) and value and isfinite(sum(value)):
            read(min(value))  # plain numbers all: the ends speak for the rest
            read(max(value))
            return tuple(value)
        return tuple(map(read, value))

    return of_list


def _row(readers: tuple[Reader, ...]) -> Reader:
    def row(value: Any) -> tuple[Any, ...]:
        if type(value) not in (list, tuple) or len(value) != len(readers):
            raise _UnfitError
        return tuple(read(one) for read, one in zip(readers, value, strict=True))

    return row


def _table(read: Reader) -> Reader:
    def table(value: Any) -> dict[str, Any]:
        if type(value) is not dict:
            raise _UnfitError
        return {_text(key): read(one) for key, one in value.items()}

    return table


_PLAIN: dict[Any, Reader] = {
    float: _number,
    int: _of_type(int),
    str: _text,
    bool: _of_type(bool),
    datetime: _of_type(datetime),
    Any: lambda value: value,
}
