"""Command lines that are in order, read without typer: known options in full, values that are what they should be.

Whatever else is typed (help, a slip, a short form, a value that begins with a dash) is not read here but by typer,
which knows what to say. Where both read a line, they read the same; a test holds that.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from inspect import Parameter, signature
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, NamedTuple, Union, get_args, get_origin

from calib.verbs.terminal.typer_later import Said

_WHOLE, _NUMBER = re.compile(r"[0-9]{1,9}"), re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})?")


class _NotPlainError(Exception):
    """The line is not for here."""


class _LinePlace(NamedTuple):
    """A parameter of a command."""

    name: str
    kind: Any  # of one value
    many: bool
    said: Said
    default: Any


class Call(NamedTuple):
    """A command and what it is called with."""

    command: Callable[..., int]
    values: dict[str, Any]


def called(arguments: Sequence[str], modules: Mapping[str, str]) -> Call | None:
    """The call that a command line asks for; None where it is not in order.

    Args:
        arguments: What was typed.
        modules: Of each command.
    """
    try:
        word, *rest = arguments
        module = import_module(modules[word])
        command = getattr(module, "command", None)
        if command is None:
            command, rest = _of_a_group(module.app, rest)
        return Call(command, _values(_places(command), rest))
    except (_NotPlainError, KeyError, ValueError):
        return None


def _of_a_group(group: Any, rest: list[str]) -> tuple[Any, list[str]]:
    word, *rest = group.arranged(rest)
    if word in group.commands:
        return group.commands[word], rest
    return import_module(group.words[word]).command, rest


def _places(command: Any) -> list[_LinePlace]:
    return [_place(parameter) for parameter in signature(command).parameters.values()]


def _place(parameter: Parameter) -> _LinePlace:
    kind = parameter.annotation
    if get_origin(kind) is not Annotated:
        raise _NotPlainError
    said = next((mark for mark in kind.__metadata__ if isinstance(mark, Said)), None)
    kind = get_args(kind)[0]
    if get_origin(kind) in (Union, UnionType):
        kind = next(one for one in get_args(kind) if one is not NoneType)
    many = get_origin(kind) is list
    if said is None:
        raise _NotPlainError
    return _LinePlace(parameter.name, get_args(kind)[0] if many else kind, many, said, parameter.default)


def _values(places: Sequence[_LinePlace], words: Sequence[str]) -> dict[str, Any]:
    options = {name: place for place in places if place.said.kind == "Option" for name in _names(place)}
    given: dict[str, list[Any]] = {}
    loose: list[str] = []
    left = list(words)
    while left:
        word = left.pop(0)
        word.encode()  # what is no text is refused elsewhere
        if not word.startswith("-") or word == "-":
            loose.append(word)
            continue
        name, equals, value = word.partition("=") if word.startswith("--") else (word, "", "")
        if name not in options:
            raise _NotPlainError
        place = options[name]
        if place.kind is bool:
            if equals or place.name in given:
                raise _NotPlainError
            given[place.name] = [True]
            continue
        if not equals:
            value = left.pop(0) if left else "-"
        if value.startswith("-") or (place.name in given and not place.many):
            raise _NotPlainError
        given.setdefault(place.name, []).append(_read(place, value))
    given |= _arguments([place for place in places if place.said.kind == "Argument"], loose)
    return {place.name: _value_of(place, given.get(place.name)) for place in places}


def _names(place: _LinePlace) -> tuple[str, ...]:
    names = place.said.names or (f"--{place.name.replace('_', '-')}",)
    if place.kind is bool and (not place.said.names or any("/" in name for name in names)):
        raise _NotPlainError  # a switch with an opposite
    return names


def _arguments(places: Sequence[_LinePlace], loose: Sequence[str]) -> dict[str, list[Any]]:
    given: dict[str, list[Any]] = {}
    left = list(loose)
    for place in places:
        taken = left[:] if place.many else left[:1]
        del left[: len(taken)]
        if taken:
            given[place.name] = [_read(place, word) for word in taken]
    if left or any(place.many for place in places[:-1]):
        raise _NotPlainError
    return given


def _value_of(place: _LinePlace, given: list[Any] | None) -> Any:
    if given is None:
        if place.default is Parameter.empty:
            raise _NotPlainError
        return place.default
    return given if place.many else given[0]


def _read(place: _LinePlace, text: str) -> Any:
    text.encode()
    if place.kind is str:
        return text
    if place.kind is Path:
        return Path(text)
    pattern = {int: _WHOLE, float: _NUMBER}.get(place.kind)
    if pattern is None or not pattern.fullmatch(text):
        raise _NotPlainError
    value = place.kind(text)
    low, high = place.said.more.get("min"), place.said.more.get("max")
    if (low is not None and value < low) or (high is not None and value > high):
        raise _NotPlainError
    return value
