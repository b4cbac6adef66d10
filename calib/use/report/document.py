"""An answer as a JSON document: the one serialiser, and the last gate.

Names are those of the answer's fields, numbers have seven significant digits, keys stand in the order of the fields,
findings last. Nothing leaves that is not finite, and no pull, bar load, length or uncertainty below zero: such a
number comes of an input that no check at the door foresaw, and is refused rather than told.
"""

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from math import isfinite
from typing import Any

from calib.errors import BandcurveError, DataError
from calib.use.answers.parts import FORMAT, Answer

DIGITS = 7  # significant, as in every file
_HEAD = ("band", "day", "findings")
_NEVER_BELOW_ZERO = (
    "force_N", "tension_N", "pull_N", "pull_kg", "bar_load_kg", "straight_weight_kg", "length_m", "tape_m", "stretch",
    "level_ratio", "flat_length_m", "rest_half_path_m", "max_difference_N",
)  # fmt: skip
_CERTIFIED = "plain."  # a regression: held against certified values, to every digit
_LIMITS = ("u_", "u95_", "upper95_")
ROUNDING = 1e-9  # what a sum of squares or a difference of equal numbers may leave below zero


def document(answer: Answer) -> dict[str, Any]:
    """The answer as plain JSON values.

    Args:
        answer: Any answer.

    Raises:
        DataError: A number in it cannot be: not finite, or below zero where nothing is.
    """
    return {"format": FORMAT, "question": answer.question, **_body(answer, "")}


def json_text(answer: Answer) -> str:
    """The answer as the text of one JSON document.

    Raises:
        DataError: A number in it cannot be.
    """
    return json.dumps(document(answer), indent=2, allow_nan=False)


def error_document(question: str, error: BandcurveError, status: int) -> dict[str, Any]:
    """An error as the document that stands in the place of the answer.

    Args:
        question: What was asked: the command.
        error: What was wrong.
        status: The exit status that goes with it.
    """
    parts = {"what": error.what, "where": error.where or None, "remedy": error.remedy or None, "status": status}
    return {"format": FORMAT, "question": question, "band": None, "day": None, "findings": [], "error": parts}


def check(answer: Answer) -> None:
    """The last gate by itself, for an answer that is rendered in another way.

    Raises:
        DataError: A number in it cannot be.
    """
    document(answer)


def _body(answer: Answer, path: str) -> dict[str, Any]:
    names = [field.name for field in fields(answer)]
    own = [name for name in names if name not in _HEAD]
    return {name: _plain(getattr(answer, name), name, path) for name in ("band", "day", *own, "findings")}


def _plain(value: Any, name: str, path: str) -> Any:
    here = f"{path}.{name}" if path else name
    if isinstance(value, Answer):
        return _body(value, here)
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name), f.name, here) for f in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): _plain(inner, name if _is_number(inner) else str(key), here) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner, name, f"{path}.{name}[{i}]" if path else f"{name}[{i}]") for i, inner in enumerate(value)]
    if isinstance(value, date):
        return value.isoformat()
    return _number(float(value), name, here) if isinstance(value, float) else value


def _is_number(value: Any) -> bool:
    return isinstance(value, float) and not isinstance(value, bool)


def _number(value: float, name: str, path: str) -> float:
    if not isfinite(value):
        raise DataError(f"the answer is not a finite number at {path}", remedy=_REMEDY)
    if value < 0 and (name in _NEVER_BELOW_ZERO or name.startswith(_LIMITS)):
        if value < -ROUNDING:
            raise DataError(f"the answer is {value:.4g}, below zero, at {path}", remedy=_REMEDY)
        value = 0.0
    return value if path.startswith(_CERTIFIED) else float(f"{value:.{DIGITS}g}") + 0.0


_REMEDY = "a number in the files given is far out of range: look through them, or measure again"
