"""A rig as the text of its file, in the units a coach measures in: the inverse of reading it. No file is touched."""

import json
from collections.abc import Sequence
from dataclasses import fields
from typing import Any

from calib.unit_keys import Key
from calib.units import from_si
from calib.use.rig.rig_file import FORMAT, SECTIONS, Anchor, Bar, Check, Rig, RigBand


def rig_toml(rig: Rig, notes: Sequence[str] = ()) -> str:
    """The text of a rig file.

    Args:
        rig: The rig.
        notes: Lines to put first, as remarks.
    """
    tables: list[tuple[str, Bar | Anchor | RigBand | Check, str]] = [
        ("[bar]", rig.bar, "bar"),
        ("[anchor]", rig.anchor, "anchor"),
    ]
    tables += [("[[band]]", band, "band") for band in rig.band]
    tables += [("[check]", rig.check, "check")] if rig.check is not None else []
    parts = ["".join(f"# {note}\n" for note in notes) + f"format = {json.dumps(FORMAT)}\n"]
    for heading, part, name in tables:
        defaults = {f.name: f.default for f in fields(part)}
        lines = [
            f"{key.in_file} = {_value(value, key)}\n"
            for key in SECTIONS[name]
            if (value := getattr(part, key.name)) is not None and value != defaults[key.name]
        ]
        if lines:
            parts.append("".join([f"{heading}\n", *lines]))
    return "\n".join(parts)


def _value(value: Any, key: Key) -> str:
    """A value as TOML; what is alike at both ends once."""
    if isinstance(value, tuple):
        ends = [_value(one, key) for one in value]
        return ends[0] if key.name in ("sideways", "fore") and ends[0] == ends[1] else f"[{', '.join(ends)}]"
    if isinstance(value, str | bool):
        return json.dumps(value)
    unit = key.in_file.rpartition("_")[2]
    return f"{from_si(value, unit, key.quantity) if key.quantity else value:.10g}"
