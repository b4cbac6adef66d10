"""Half-path length: from what a tape was laid along to half of the closed path at mid-thickness. Nothing is read here.

With band thickness t and mean fitting diameter d the half turn of the path round a fitting is pi (d + t) / 2; what the
tape reads differs only by where it was held. A band lying flat ends in two folds of outer radius t, so its half path is
x - 2 t + pi t / 2 = x - 0.43 t. Plane geometry.
"""

from collections.abc import Sequence
from math import fsum, pi
from typing import Literal, get_args

from calib.assumptions import BY_NAME

COARSE_STEPS = ((0.01, 0.05), (0.0127, 0.0508))  # [m] a tape read to 1 cm or half an inch, and steps of a plan
LengthKind = Literal["band-outer", "band-inner", "centres", "half-path"]
LENGTH_KINDS: tuple[LengthKind, ...] = get_args(LengthKind)

DEFAULT_THICKNESS = BY_NAME["thickness"].value  # m, where not measured; said in a finding
U_DEFAULT_THICKNESS = BY_NAME["u_thickness"].value  # m


def half_path_offset(kind: LengthKind, fitting_diameter: float, thickness: float) -> float:
    """Length to add to a tape reading to get the half-path length. [m]

    Args:
        kind: What the tape was laid along.
        fitting_diameter: Mean of the two fittings. [m]
        thickness: Of the unstretched band. [m]
    """
    d, t = fitting_diameter, thickness
    return {
        "band-outer": ((pi - 2) * d + (pi - 4) * t) / 2,
        "band-inner": ((pi - 2) * d + pi * t) / 2,
        "centres": pi * (d + t) / 2,
        "half-path": 0.0,
    }[kind]


def offset_over(kind: LengthKind, fitting_diameters: Sequence[float], thickness: float | None) -> float:
    """Length to add to a tape reading over one or two fittings, none at a point. [m]

    Args:
        kind: What the tape was laid along.
        fitting_diameters: Shape (0,), (1,) or (2,). [m]
        thickness: Of the unstretched band, the default where it was not measured. [m]
    """
    pins = fitting_diameters or (0.0,)
    return half_path_offset(kind, fsum(pins) / len(pins), thickness or DEFAULT_THICKNESS)


def thickness_slope(kind: LengthKind) -> float:
    """Change of the half-path length per unit of thickness; dimensionless."""
    return half_path_offset(kind, 0.0, 1.0)


def rest_half_path(flat_length: float, thickness: float, strands: int) -> float:
    """Half-path length of the unloaded band from its flat length, end to end lying flat. [m]"""
    return flat_length - (2 - pi / 2) * thickness if strands == 2 else flat_length


def u_of_step(lengths: Sequence[float]) -> float:
    """Standard uncertainty that a coarse tape gives lengths read from it: its step over the root of 12; else zero. [m]

    All lengths in whole centimetres or half inches were read to that. Where all are whole 5 cm or 2 inches, marks were
    chosen and the band was pulled to them: they say nothing of how well.

    >>> round(u_of_step([1.13, 1.27, 1.41]), 4), u_of_step([1.13, 1.27, 1.415]), u_of_step([1.1, 1.3, 1.5])
    (0.0029, 0.0, 0.0)
    """
    for step, plan in COARSE_STEPS:
        if _all_multiples(lengths, step) and not _all_multiples(lengths, plan):
            return float(step / 12**0.5)
    return 0.0


def _all_multiples(lengths: Sequence[float], step: float) -> bool:
    return all(abs(length / step - round(length / step)) < 1e-4 for length in lengths)
