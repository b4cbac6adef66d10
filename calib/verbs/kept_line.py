"""What a scale's file keeps of its line: the format, said in words too, and the speed. No port is opened here.

It stands in the file's free space, `extensions.line`; what else stands there (the way round of the cell) is left alone.
"""

from typing import Any

from calib.acquire.baud import Setting
from calib.acquire.line_format import LineFormat
from calib.errors import DataError
from calib.scale import Scale

LINE = "line"


def kept_format(scale: Scale) -> LineFormat | None:
    """The format of the line, None where the file keeps none.

    Raises:
        DataError: What it keeps is no format.
    """
    kept = scale.extensions.get(LINE)
    form = kept.get("format") if isinstance(kept, dict) else None
    if form is None:
        return None
    try:
        return LineFormat.of(form)
    except DataError as error:
        raise error.at(f"scale {scale.id}: extensions.line.format") from None


def with_line(scale: Scale, form: LineFormat, setting: Setting | None) -> Scale:
    """The same scale, with its line's format and speed kept."""
    kept = scale.extensions.get(LINE)
    line: dict[str, Any] = {**kept} if isinstance(kept, dict) else {}
    line |= {"said": form.words(), "format": form.document()}
    if setting is not None:
        line |= {"speed": str(setting)}
    return Scale.model_validate({**dict(scale), "extensions": {**scale.extensions, LINE: line}})
