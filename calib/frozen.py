"""Frozen dataclasses that cost next to nothing to declare: the standard library's, with methods shared by all of them.

The standard library writes six methods anew for each class, half a millisecond a class whenever the program starts, and
a command loads fifty to a hundred of them. Here each class only notes its fields; `fields`, `replace`, pickling,
`match` and pydantic see a dataclass like any other. What is not frozen, or has slots, is the standard library's own.
"""

import dataclasses
from dataclasses import MISSING, FrozenInstanceError, fields
from reprlib import recursive_repr
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(cls=None, *, kw_only=False, **more):
        """As `dataclasses.dataclass`."""
        if more != {"frozen": True}:
            return dataclasses.dataclass(cls, kw_only=kw_only, **more)
        return (lambda made: frozen(made, kw_only)) if cls is None else frozen(cls, kw_only)


def frozen(cls: type, kw_only: bool) -> type:
    """Make a class a frozen dataclass."""
    cls.__doc__ = cls.__doc__ or cls.__name__  # or a signature is worked out to stand there
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, kw_only=kw_only)(cls)
    for name, method in _SHARED.items():
        if name not in vars(cls):
            setattr(made, name, method)
    known = fields(made)
    made.__in_order__ = tuple(f.name for f in known if not f.kw_only)
    made.__unset__ = {f.name: f.default for f in known}
    made.__made_anew__ = tuple((f.name, f.default_factory) for f in known if f.default_factory is not MISSING)
    made.__checks__ = hasattr(made, "__post_init__")
    return made  # type: ignore[no-any-return]


def _init(self: Any, *given: Any, **named: Any) -> None:
    kind, own = type(self), self.__dict__
    unset = kind.__unset__
    own.update(unset)  # so that they stand in the order of the fields
    if given:
        own.update(zip(kind.__in_order__, given, strict=False))
        if len(given) > len(kind.__in_order__) or not named.keys().isdisjoint(kind.__in_order__[: len(given)]):
            raise TypeError(f"{kind.__name__}() got a value too many or twice")
    own.update(named)
    if len(given) + len(named) < len(unset):
        for name, make in kind.__made_anew__:
            if own[name] is MISSING:
                own[name] = make()
        missing = [name for name, value in own.items() if value is MISSING]
        if missing:
            raise TypeError(f"{kind.__name__}() needs {', '.join(missing)}")
    if len(own) != len(unset):
        raise TypeError(f"{kind.__name__}() has no {', '.join(name for name in named if name not in unset)}")
    if kind.__checks__:
        self.__post_init__()


def _values(self: Any) -> tuple[Any, ...]:
    own = self.__dict__
    return tuple(own[name] for name in type(self).__unset__)


def _eq(self: Any, other: object) -> Any:
    return _values(self) == _values(other) if other.__class__ is self.__class__ else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


@recursive_repr()
def _repr(self: Any) -> str:
    shown = ", ".join(f"{name}={value!r}" for name, value in zip(type(self).__unset__, _values(self), strict=True))
    return f"{type(self).__qualname__}({shown})"


def _no_setting(self: Any, name: str, value: Any) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _no_deleting(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


_SHARED: dict[str, Any] = {
    "__init__": _init,
    "__eq__": _eq,
    "__hash__": _hash,
    "__repr__": _repr,
    "__setattr__": _no_setting,
    "__delattr__": _no_deleting,
}
