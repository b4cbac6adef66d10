"""A rig as it is written down: bar, anchor and bands, from TOML whose keys carry their units. No file is opened here.

Heights are of the sleeve's and the anchor's centre above the floor. Every contradiction is one sentence with its key.
"""

import json
import re
from collections.abc import Mapping
from dataclasses import field
from typing import Annotated, Any, Literal

from calib.checked import Limits, quick
from calib.errors import DataError
from calib.frozen import dataclass
from calib.safe_read import utf8_text
from calib.strict_toml import parse_toml
from calib.unit_keys import SI_SIGN, Key, mm_keys, plain_keys, table_in_si, unknown_field
from calib.units import metres
from calib.versioned import Version, is_newer_minor, key_path

FORMAT = "bandcurve-rig/1"
CAP_BYTES = 1_000_000
MOST_BANDS = 24
MOST_READINGS = 24
CheckWay = Literal["platform", "hook", "hover"]
FEET = 0.15  # [m] a band across an anchor lower than this lies under the feet
Arrangement = Literal["straight", "doubled", "choked", "spread", "across"]

_STRICT = {"strict": True, "extra": "forbid", "allow_inf_nan": False}
_NotNegative = Annotated[float, Limits(ge=0, lt=1e4)]
# Physical bounds, wide on purpose: a number beyond them was written in another unit.
_Height = Annotated[float, Limits(ge=1e-3, lt=20)]  # [m]
_Width = Annotated[float, Limits(ge=0, le=2)]  # [m] of a pin, a hook, a sleeve
_Apart = Annotated[float, Limits(gt=-20, lt=20)]  # [m]
_Ends = tuple[_Apart, _Apart]


@dataclass(frozen=True)
class Bar:
    """The bar, its plates and the way it goes."""

    __pydantic_config__ = _STRICT
    mass: _NotNegative  # [kg] the bar alone
    bottom: _Height  # [m] height of the sleeve's centre
    top: _Height  # [m]
    plates: _NotNegative = 0.0  # [kg]
    hooks: _Height | None = None  # [m] height of the sleeve's centre on the hooks
    tempo_s: Annotated[float, Limits(ge=0.1, lt=1e4)] = 1.0  # one way
    latitude_deg: Annotated[float, Limits(ge=-90, le=90)] | None = None
    altitude: Annotated[float, Limits(ge=-500, lt=9000)] | None = None  # [m]
    temperature: Annotated[float, Limits(gt=-60, lt=100)] | None = None  # [degree C]
    u_reading: Annotated[float, Limits(ge=0, lt=1)] = 0.005  # [m] of heights and offsets, k = 1; assumed if not given


@dataclass(frozen=True)
class Anchor:
    """What holds the bands: a rack, dumb-bells, plates on it."""

    __pydantic_config__ = _STRICT
    holds: _NotNegative | None = None  # [kg]
    bolted: bool = False
    height: _Height | None = None  # [m]
    footprint: _Height | None = None  # [m] shorter side of what it stands on


@dataclass(frozen=True)
class RigBand:
    """One band in the rig."""

    __pydantic_config__ = _STRICT
    side: Literal["left", "right", "both"]
    profile: str
    source: Literal["below", "above"]  # `from` in the file
    arrangement: Arrangement
    anchor_height: Annotated[float, Limits(ge=-2, lt=10)]  # [m] centre of the anchor
    anchor_diameter: _Width  # [m]
    sleeve_diameter: Annotated[float, Limits(ge=1e-3, le=2)]  # [m]
    sideways: _Ends = (0.0, 0.0)  # [m] bar to anchor along the bar, at the bottom and at the top
    fore: _Ends = (0.0, 0.0)  # [m] bar to anchor fore and aft, at the bottom and at the top
    slack_length: _Height | None = None  # [m] choked: between the same centres, hanging slack
    pegs_apart: Annotated[float, Limits(ge=0, lt=20)] = 0.0  # [m]


@dataclass(frozen=True)
class Check:
    """What a scale showed in the rig, at a few heights of the bar, held still."""

    __pydantic_config__ = _STRICT
    how: CheckWay
    heights: Annotated[tuple[_Height, ...], Limits(min_length=1, max_length=MOST_READINGS)]  # [m]
    shown: Annotated[tuple[_NotNegative, ...], Limits(min_length=1, max_length=MOST_READINGS)]  # [kg]
    alone: _NotNegative | None = None  # [kg] platform: shown by lifter, bar and plates without bands
    band: Annotated[int, Limits(ge=0, lt=MOST_BANDS)] = 0  # hook: which band hangs on it
    hook_diameter: _Width = 0.012  # [m] of the scale's hook, in place of the sleeve
    wait_s: Annotated[float, Limits(ge=0.1, lt=1e6)] = 10.0
    resolution: _NotNegative = 0.1  # [kg]
    u_gain: Annotated[float, Limits(ge=0, lt=1)] | None = None  # relative, of the scale or of the plates


@dataclass(frozen=True)
class Rig:
    """Everything a rig file says."""

    __pydantic_config__ = _STRICT
    bar: Bar
    band: Annotated[tuple[RigBand, ...], Limits(min_length=1, max_length=MOST_BANDS)]
    anchor: Anchor = field(default_factory=Anchor)
    check: Check | None = None

    @property
    def weight_kg(self) -> float:
        """Bar and plates. [kg]"""
        return self.bar.mass + self.bar.plates


SECTIONS: dict[str, tuple[Key, ...]] = {
    "bar": (
        Key("mass", "mass", "kg"),
        Key("plates", "mass", "kg"),
        *mm_keys("bottom", "top", "hooks", "u_reading"),
        Key("tempo_s"),
        Key("latitude_deg"),
        Key("altitude", "length", "m"),
        Key("temperature", "temperature", "C"),
    ),
    "anchor": (Key("holds", "mass", "kg"), Key("bolted"), *mm_keys("height", "footprint")),
    "band": (
        *plain_keys("side", "profile", "arrangement"),
        Key("source", written="from"),
        *mm_keys("anchor_height", "sideways", "fore", "anchor_diameter", "sleeve_diameter", "slack_length"),
        *mm_keys("pegs_apart"),
    ),
    "check": (
        *plain_keys("how", "band", "wait_s", "u_gain"),
        *mm_keys("heights", "hook_diameter"),
        *(Key(name, "mass", "kg") for name in ("shown", "alone", "resolution")),
    ),
}
_TABLES = ("bar", "anchor", "band", "check")
_MEANT = {"latitude_deg": "-90 to 90 degrees", "altitude": "-500 to 9000 m", "temperature": "-60 to 100 C"}


def parse_rig(data: bytes, name: str) -> Rig:
    """Make a rig of a file's bytes.

    Args:
        data: The whole file.
        name: What to call it in an error.

    Raises:
        DataError: Not TOML, another format, a key unknown, missing or wrong, or geometry that contradicts itself.
    """
    if len(data) > CAP_BYTES:
        raise DataError("is larger than 1 MB", where=name, remedy="is it the right file?")
    text = utf8_text(data, name).replace("\r\n", "\n")
    document = parse_toml(text, name)
    begins = f'a rig begins with format = "{FORMAT}"'
    newer = is_newer_minor(document.pop("format", None), Version("bandcurve-rig", 1, 0), f"{name}: format", begins)
    document.pop("extensions", None)
    try:
        rig = _validated(_in_si(document, name, newer), name)
        check_rig(rig)
    except DataError as error:
        where = error.where if error.where.startswith(f"{name}:") else f"{name}: {error.where}"
        raise DataError(error.what, where=_with_band(where, document.get("band")), remedy=error.remedy) from None
    return rig


def _with_band(where: str, bands: Any) -> str:
    """A place in the file with its band's own name in place of its number, where it has one."""
    found = re.search(r"band\[(\d+)\]\.?", where)
    part = bands[int(found[1])] if found and isinstance(bands, list) and int(found[1]) < len(bands) else None
    profile, side = (part.get(key) if isinstance(part, dict) else None for key in ("profile", "side"))
    if found is None or not isinstance(profile, str) or side not in ("left", "right", "both"):
        return where
    return f"{where[: found.start()]}{_called(profile[:60], side)}: {where[found.end() :]}".removesuffix(": ")


def _in_si(document: Mapping[str, Any], name: str, newer: bool) -> dict[str, Any]:
    """The tables with bare names and values in SI."""
    out: dict[str, Any] = {}
    for table, value in document.items():
        if table not in _TABLES:
            if newer:
                continue
            raise unknown_field(table, _TABLES, f"{name}: {table[:60]}")
        parts = value if table == "band" else [value]
        if not isinstance(parts, list) or not all(isinstance(part, dict) for part in parts):
            heading = "[[band]]" if table == "band" else f"[{table}]"
            raise DataError(f"{table!r} is not a table", where=f"{name}: {table}", remedy=f"write {heading}")
        paths = [f"band[{i}]" for i in range(len(parts))] if table == "band" else [table]
        made = [_part_in_si(part, table, f"{name}: {path}", newer) for part, path in zip(parts, paths, strict=True)]
        out[table] = made if table == "band" else made[0]
    return out


def _part_in_si(part: Mapping[str, Any], table: str, where: str, newer: bool) -> dict[str, Any]:
    out = table_in_si(part, SECTIONS[table], lambda key: f"{where}.{key}", newer)
    for name in ("sideways", "fore"):
        if name in out:
            out[name] = _at_both_ends(out[name], next(f"{where}.{key}" for key in part if key.startswith(name)))
    return out


def _at_both_ends(value: Any, where: str) -> list[Any]:
    if not isinstance(value, list):
        return [value, value]
    if len(value) != 2:
        raise DataError(f"has {len(value)} values", where=where, remedy="give one, or two: for the bottom, for the top")
    return value


def _validated(document: dict[str, Any], name: str) -> Rig:
    rig = quick(Rig, document)
    if rig is not None:
        return rig
    from pydantic import ValidationError

    from calib.checked_words import judged_head

    try:
        return judged_head(Rig, document)  # type: ignore[no-any-return]
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
    loc = list(first["loc"])
    names = [str(part) for part in loc if isinstance(part, str)]
    keys = {known.name: known for known in SECTIONS[names[0]]} if names and names[0] in SECTIONS else {}
    known = keys.get(names[1]) if len(names) > 1 else None
    shown = [known.in_file if known and part == known.name else part for part in loc]
    where = f"{name}: {key_path(shown)}"
    if first["type"] == "missing":
        raise DataError("is missing", where=where, remedy="add it")
    unit = SI_SIGN.get(known.quantity or "", "") if known else ""
    if isinstance(first["input"], bool) or not isinstance(first["input"], int | float):
        unit = ""
    value = json.dumps(first["input"], default=str)
    words = re.sub(r"( than| to) ([\d.]+)$", rf"\1 \2{unit}", first["msg"].replace("Input should", "should"))
    if first["type"] in ("too_short", "too_long"):
        words = words.replace("Tuple ", "").replace(" after validation", "")
        raise DataError(words, where=where, remedy="correct the list")
    meant = f"; it should be {_MEANT[known.name]}" if known and known.name in _MEANT else ""
    raise DataError(f"{words}, not {value[:60]}{unit}{meant}", where=where, remedy="correct the value")


def band_name(band: RigBand) -> str:
    """A band of a rig as its owner knows it.

    >>> band_name(RigBand("left", "box/B07.profile.json", "below", "straight", 0.1, 0.05, 0.05))
    'B07 on the left'
    """
    return _called(band.profile, band.side)


def _called(profile: str, side: str) -> str:
    name = profile.rpartition("/")[2].removesuffix(".json").removesuffix(".profile")
    return f"{name or 'the band'} {'in the middle' if side == 'both' else f'on the {side}'}"


def check_rig(rig: Rig) -> None:
    """Refuse geometry that contradicts itself."""
    _check_bar(rig)
    for band in rig.band:
        check_band(band, rig, band_name(band))
    if rig.check is not None:
        _check_readings(rig.check, rig)


def _check_readings(check: Check, rig: Rig) -> None:
    bar = rig.bar
    if len(check.heights) != len(check.shown):
        raise DataError(f"{len(check.shown)} readings for {len(check.heights)} heights", where="check.shown_kg",
                        remedy="give one for each")  # fmt: skip
    for height in check.heights:
        if not bar.bottom - 1e-6 <= height <= bar.top + 1e-6:
            raise DataError(f"{metres(height)} is not between the ends of the lift", where="check.heights_mm",
                            remedy=f"read it from {metres(bar.bottom)} to {metres(bar.top)}")  # fmt: skip
    if check.how == "hook":
        _check_hook(check, rig)
    elif check.how == "hover" and any(band.source == "below" for band in rig.band):
        raise DataError("only bands from above can make a bar hover", where="check.how", remedy="use a scale")
    elif check.how == "platform":
        _check_platform(check, rig)


def _check_hook(check: Check, rig: Rig) -> None:
    if check.band >= len(rig.band):
        raise DataError(f"there is no band number {check.band}", where="check.band", remedy="they are counted from 0")
    if rig.band[check.band].arrangement in ("spread", "across"):
        raise DataError("a scale cannot take the place of the bar where a band is folded over it or goes across",
                        where="check.how", remedy="use a platform scale")  # fmt: skip


def _check_platform(check: Check, rig: Rig) -> None:
    if check.alone is None:
        raise DataError("is missing", where="check.alone_kg", remedy="read lifter, bar and plates without bands")
    if any(under_feet(band) for band in rig.band):
        raise DataError("a band under the feet presses lifter and bar together, and the scale below shows none of it",
                        where="check.how", remedy="hang it over a fixed bar, or check its profile")  # fmt: skip


def under_feet(band: RigBand) -> bool:
    """Whether a band across lies under the lifter's own feet; it then lifts nothing but the bar in the hands."""
    return band.arrangement == "across" and band.anchor_height < FEET


def _check_bar(rig: Rig) -> None:
    bar = rig.bar
    if bar.top <= bar.bottom:
        text = f"the top at {metres(bar.top)} is not above the bottom at {metres(bar.bottom)}"
        remedy = "give the heights of the sleeve's centre above the floor; were they swapped?"
        raise DataError(text, where="bar.top_mm", remedy=remedy)


def check_band(band: RigBand, rig: Rig, path: str) -> None:
    """Refuse a band whose place contradicts the bar, the anchor or its arrangement.

    Args:
        band: The band.
        rig: The rig, for its bar and anchor.
        path: Of the band, for the message.
    """
    bar, radii = rig.bar, (band.anchor_diameter + band.sleeve_diameter) / 2
    inside = band.anchor_height + radii > bar.bottom if band.source == "below" else (
        band.anchor_height - radii < bar.top)  # fmt: skip
    if inside:
        end = (
            f"below the bottom at {metres(bar.bottom)}"
            if band.source == "below"
            else f"above the top at {metres(bar.top)}"
        )
        raise DataError(
            f"the anchor at {metres(band.anchor_height)} is not clear {end}, so the bar would run into it",
            where=f"{path}: anchor_height_mm",
            remedy=f"measure it again, or is the band from {'above' if band.source == 'below' else 'below'}?",
        )
    if bar.hooks is not None and (
        band.anchor_height + radii > bar.hooks if band.source == "below" else band.anchor_height - radii < bar.hooks
    ):
        text = f"the hooks at {metres(bar.hooks)} are not clear of the anchor of {path} at {metres(band.anchor_height)}"
        raise DataError(text, where="bar.hooks_mm", remedy="measure both again, each to its centre above the floor")
    _check_fields(band, path)
    anchor = rig.anchor
    if anchor.height is not None and band.source == "above" and band.anchor_height > anchor.height + 1e-9:
        raise DataError(
            f"the band hangs at {metres(band.anchor_height)} from an anchor {metres(anchor.height)} high",
            where=f"{path}: anchor_height_mm",
            remedy="measure both again",
        )


def _check_fields(band: RigBand, path: str) -> None:
    if (band.side == "both") != (band.arrangement == "across") and band.arrangement == "across":
        raise DataError("a band across goes from sleeve to sleeve", where=f"{path}: side", remedy='write side = "both"')
    if band.slack_length is not None and band.arrangement != "choked":
        raise DataError("a slack length belongs to a choked band", where=f"{path}: slack_length_mm",
                        remedy="leave it out, or write arrangement = \"choked\"")  # fmt: skip
    if band.pegs_apart and band.arrangement in ("straight", "doubled"):
        raise DataError(f"a {band.arrangement} band has one anchor, not two pegs", where=f"{path}: pegs_apart_mm",
                        remedy="leave it out, or write arrangement = \"spread\"")  # fmt: skip
    if not band.pegs_apart and band.arrangement == "spread":
        raise DataError("a spread band needs the distance of its two pegs", where=f"{path}: pegs_apart_mm",
                        remedy="add it, centre to centre")  # fmt: skip
