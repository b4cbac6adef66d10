"""What a scale's file keeps of its line: format, said in words too, speed, and the cell's way round. No port is opened.

It stands in the file's free space, `extensions.line`; what else stands there is left alone.
"""

from dataclasses import replace
from typing import Any

from calib.acquire.cell.baud import Setting
from calib.acquire.cell.line_format import Chosen, LineFormat
from calib.errors import DataError
from calib.scale import Scale

LINE = "line"
REVERSED = "reversed"  # the cell is the other way round


def kept_format(scale: Scale) -> LineFormat | None:
    """The format of the line, None where the file keeps none.

    Raises:
        DataError: What it keeps is no format.
    """
    form = _kept(scale).get("format")
    if form is None:
        return None
    try:
        return LineFormat.from_document(form)
    except DataError as error:
        raise error.placed_at(f"scale {scale.id}: extensions.line.format") from None


def with_range(chosen: Chosen, scale: Scale | None) -> Chosen:
    """The same, with what the scale's file knows of its range: a reading beyond it is an overload."""
    if scale is None or scale.capacity_N is None:
        return chosen
    counts = scale.counts
    per_count, zero = (counts.per_count_N, counts.zero_N) if counts else (None, 0.0)
    return replace(chosen, capacity=scale.capacity_N, per_count=per_count, zero=zero)


def kept_reversed(scale: Scale) -> bool:
    """Whether the cell is the other way round."""
    return bool(_kept(scale).get(REVERSED))


def with_line(scale: Scale, form: LineFormat, setting: Setting | None) -> Scale:
    """The same scale, with its line's format and speed kept."""
    speed = {} if setting is None else {"speed": str(setting)}
    return _with_line(scale, {"said": form.described(), "format": form.document(), **speed})


def with_reversed(scale: Scale, *, turned: bool) -> Scale:
    """The same scale, with the way round of its cell kept."""
    return _with_line(scale, {REVERSED: turned})


def _kept(scale: Scale) -> dict[str, Any]:
    kept = scale.extensions.get(LINE)
    return kept if isinstance(kept, dict) else {}


def _with_line(scale: Scale, new: dict[str, Any]) -> Scale:
    extensions = {**scale.extensions, LINE: {**_kept(scale), **new}}
    return Scale.model_validate({**dict(scale), "extensions": extensions})
