"""Where a band runs in a rig: its half-path length and how much of its pull goes down, sideways and fore-aft.

Plane geometry only; what a band pulls is not known here. All heights at once, as arrays.

With D the distance of the centres, d the mean fitting diameter and t the thickness, a half turn at either end makes
the half path D + pi (d + t) / 2 for a straight loop, and 2 D + pi (d + t) where it is folded (doubled, spread, across).
Differentiating that length by the height gives the share of the pull that is vertical: no energy is made or lost.
"""

from math import pi

import numpy as np

from calib.errors import DataError
from calib.frozen import dataclass
from calib.records import Array
from calib.units import metres
from calib.use.rig.rig_file import Bar, RigBand

HITCH_TURNS = 0.875, 0.125 / 3**0.5  # of the way round the anchor, taken up per leg: 0.75 to 1, rectangular
HITCH_EXTRA = 0.020, 0.010 / 3**0.5  # [m] more per leg: 1 to 3 cm. Both common practice, no source


@dataclass(frozen=True)
class Offsets:
    """How far each reading is off; all zero is as written in the rig file. [m], `hitch` and `wrap` in their own u.

    Each may be an array of draws, then there is one height.
    """

    bar: float | Array = 0.0
    anchor: float | Array = 0.0
    sideways: float | Array = 0.0
    fore: float | Array = 0.0
    slack: float | Array = 0.0
    rest: float | Array = 0.0  # of a choked band's half path, unloaded
    thickness: float | Array = 0.0
    hitch: float | Array = 0.0
    wrap: float | Array = 0.0
    grip: float | Array = 0.0  # 0: the band slips freely round its fittings; 1: it grips there


AS_WRITTEN = Offsets()


@dataclass(frozen=True)
class Loop:
    """What geometry needs of a band."""

    rest: float  # [m] half path, unloaded
    thickness: float  # [m]
    calibration_wrap: float  # [m] of the half path round the fittings when it was measured


@dataclass(frozen=True)
class BandPath:
    """The band at each height; pulls are shares of the tension of both legs."""

    length: Array  # [m] half-path length at which the profile is read
    down: Array  # towards the anchor's height, on the bar as a whole
    sideways: Array
    fore: Array
    angle: Array  # [rad] from the vertical


def run_of(band: RigBand, bar: Bar, heights: Array, loop: Loop, off: Offsets = AS_WRITTEN) -> BandPath:
    """Where a band runs with its bar at each height.

    Args:
        band: How it is fixed.
        bar: For the ends of the lift.
        heights: Of the sleeve's centre, shape (n,). [m]
        loop: The band.
        off: How far the readings are off.
    """
    part = (heights - bar.bottom) / (bar.top - bar.bottom)
    sideways = abs(band.sideways[0] + part * (band.sideways[1] - band.sideways[0]) + off.sideways)
    fore = band.fore[0] + part * (band.fore[1] - band.fore[0]) + off.fore
    rise = (heights + off.bar - band.anchor_height - off.anchor) * (1 if band.source == "below" else -1)
    thick = loop.thickness + off.thickness
    if band.arrangement == "spread":
        return _spread(band, rise, sideways, fore, loop, thick, off)
    distance = _distance(rise, sideways, fore)
    folds = 2 if band.arrangement in ("doubled", "across") else 1
    if band.arrangement == "choked":
        length = (loop.rest + off.rest) * distance / slack_length(band, loop, off)
    else:
        wrap = folds * pi * ((band.anchor_diameter + band.sleeve_diameter) / 2 + thick) / 2
        under = band.pegs_apart if band.arrangement == "across" else 0.0
        missing = off.wrap * _missing_wrap(band, sideways / rise, thick) if band.arrangement == "across" else 0.0
        length = _gripped(folds * distance + under + wrap - missing, wrap + under, loop, off.grip)
    return BandPath(length, folds * rise / distance, folds * sideways / distance, folds * fore / distance,
               np.arccos(rise / distance))  # fmt: skip


def _spread(
    band: RigBand, rise: Array, sideways: Array, fore: Array, loop: Loop, thick: float | Array, off: Offsets
) -> BandPath:
    one, two = (_distance(rise, sideways, fore + s * band.pegs_apart / 2) for s in (1, -1))
    wrap = pi * ((band.anchor_diameter + band.sleeve_diameter) / 2 + thick)
    tilt = band.pegs_apart / 2 / rise
    length = _gripped(one + two + wrap - off.wrap * _missing_wrap(band, tilt, thick), wrap, loop, off.grip)
    half = band.pegs_apart / 2
    down, side = rise * (1 / one + 1 / two), sideways * (1 / one + 1 / two)
    return BandPath(
        length, down, side, (fore + half) / one + (fore - half) / two, np.arccos(rise / np.minimum(one, two))
    )


def _missing_wrap(band: RigBand, tilt: Array, thick: float | Array) -> Array:
    """Legs that lean apart go less than half round what they are folded over; taken up to this as a bound. [m]"""
    middle = band.sleeve_diameter if band.arrangement == "spread" else band.anchor_diameter
    found: Array = (middle + thick) * np.arctan(tilt) / 3**0.5
    return found


def _gripped(length: Array, wrap: float | Array, loop: Loop, grip: float | Array) -> Array:
    """Half-path length to read the profile at, between slipping freely and gripping all round.

    Gripped, only the free legs stretch, in the rig and when the band was measured: equal stretch of the legs is equal
    pull, (L - w) / (L0 - w) the same in both. Slipping, L itself is.
    """
    if isinstance(grip, float) and grip == 0.0:
        return length
    free = np.maximum(loop.rest - wrap, 0.2 * loop.rest)
    held = loop.calibration_wrap + (loop.rest - loop.calibration_wrap) * (length - wrap) / free
    found: Array = length + grip * (held - length)
    return found


def slack_length(band: RigBand, loop: Loop, off: Offsets = AS_WRITTEN) -> float | Array:
    """Hanging length of a choked band between the centres, as given or estimated. [m]"""
    if band.slack_length is not None:
        if band.slack_length >= loop.rest:
            raise DataError(
                f"the slack length {metres(band.slack_length)} is not below the half path of the flat band, "
                f"{metres(loop.rest)}",
                where="slack_length_mm",
                remedy="measure between the centres of anchor and sleeve, with the band slack in its hitch",
            )
        return band.slack_length + off.slack
    thick = loop.thickness + off.thickness
    around = pi * (band.anchor_diameter + thick) + 2 * band.pegs_apart
    u_taken = (HITCH_TURNS[1] ** 2 * around**2 + HITCH_EXTRA[1] ** 2) ** 0.5
    taken = HITCH_TURNS[0] * around + HITCH_EXTRA[0] + off.hitch * u_taken
    left = loop.rest + off.rest - pi * (band.sleeve_diameter + thick) / 4 - taken
    if np.min(left) < 0.2 * loop.rest:
        raise DataError("the hitch would take up most of the band", where="anchor_diameter_mm",
                        remedy="give slack_length_mm as measured, or choose a longer band")  # fmt: skip
    return left


def _distance(rise: Array, sideways: Array, fore: Array) -> Array:
    found: Array = np.sqrt(rise**2 + sideways**2 + fore**2)
    return found
