"""The types of `checked` as pydantic sees them: what is wrong with a value, in words; JSON Schemas. Slow to load."""

import json
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from functools import cache, partial, reduce
from operator import or_
from types import UnionType
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, TypeAdapter, create_model

Kind = TypeVar("Kind")


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False, defer_build=True)


def judged(kind: type[Kind], document: Mapping[str, Any], *, newer: bool = False, strict: bool = True) -> Kind:
    """Make a part of plain values.

    Args:
        kind: What it should be.
        document: By the names of the file.
        newer: It is of a newer minor version: what is unknown is kept.
        strict: A number is no text, and so on.

    Raises:
        pydantic.ValidationError: It is none.
    """
    whole: Any = kind
    lax, extra = (None if strict else False), "allow" if newer else "forbid"
    made: Kind = _adapter(whole).validate_python(document, strict=lax, extra=extra)  # type: ignore[arg-type]
    return made


def schema_of(kind: type[Any]) -> dict[str, Any]:
    """The JSON Schema of a part."""
    whole: Any = kind
    return _model(whole).model_json_schema(by_alias=True)


def judged_head(kind: type[Any], document: Mapping[str, Any], as_text: Callable[[Any], str] = str) -> Any:
    """Make a dataclass of a head of TOML.

    Args:
        kind: What it should be.
        document: By the names of the dataclass.
        as_text: What stands for a value JSON does not have, a date.

    Raises:
        pydantic.ValidationError: It is none.
    """
    whole: Any = kind
    return _head_adapter(whole).validate_json(json.dumps(document, default=as_text))


@cache
def _head_adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(kind)


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    return TypeAdapter(_typed(kind))


@cache
def _model(kind: Any) -> type[BaseModel]:
    told: dict[str, Any] = {}
    for f in fields(kind):
        given = {"default": f.default, "default_factory": f.default_factory}
        own: dict[str, Any] = {key: value for key, value in given.items() if value is not MISSING}
        told[f.name] = (_typed(f.type), Field(**own, **f.metadata))
    return create_model(kind.__name__, __base__=_Strict, __doc__=kind.__doc__, **told)


def _typed(kind: Any) -> Any:
    """An annotation with models in the place of parts; a list of JSON may stand for a tuple."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is None and isinstance(kind, type) and hasattr(kind, "model_dump"):
        whole: Any = kind
        return Annotated[_model(whole), AfterValidator(partial(_part, whole))]
    if origin is Annotated:
        return Annotated[(_typed(inner[0]), *kind.__metadata__)]
    if origin is tuple:
        return Annotated[tuple.__class_getitem__(tuple(map(_typed, inner))), Field(strict=False)]
    if origin in (Union, UnionType):
        return reduce(or_, map(_typed, inner))
    return kind


def _part(kind: type[Kind], model: BaseModel) -> Kind:
    made = object.__new__(kind)
    made.__dict__.update({f.name: getattr(model, f.name) for f in fields(kind)})  # type: ignore[arg-type]
    made.__dict__.update(model.model_extra or {})
    if hasattr(made, "__post_init__"):
        made.__post_init__()
    return made
