"""The band's own weight in a reading: what it takes from or adds to the pull, and how heavy an unweighed band may be.

Known from the weighed mass, or guessed; no reading is corrected here.
"""

import numpy as np

from calib.gravity import local_gravity
from calib.records import Array, RunHead
from calib.units import G_STANDARD

RUBBER_DENSITY = 950.0  # [kg/m3] natural rubber, order of magnitude; only for the weight of an unweighed band
RUBBER_MODULUS = 0.4e6  # [Pa] shear modulus, order of magnitude; likewise


def half_weight(head: RunHead) -> tuple[float, float]:
    """Correction to the pull for the band's own weight [N], and its sign where the band was not weighed, else 0.

    The pull meant is that at mid-length; the scale also carries, or its zero already took off, half the band.
    """
    p, zeroed = head.procedure, head.scale.zeroed if head.scale else "hook-only"
    if p.method == "hung-weight":
        sign = 1.0  # the load hangs below mid-length together with half the band
    elif zeroed == "band-both-ends" or (p.orientation == "horizontal" and p.method != "anchor-on-scale"):
        return 0.0, 0.0
    else:
        below = p.scale_at == "bottom" or p.method == "anchor-on-scale"  # an anchor stands below the band
        sign = {"hook-only": -1.0, "band-free": 1.0}[zeroed] * (-1.0 if below else 1.0)
    g, _ = local_gravity(p.latitude_deg, p.altitude)
    return (sign * head.band.mass * g / 2, 0.0) if head.band.mass else (0.0, sign)


def weight_guess(head: RunHead, length: Array, pull: Array) -> float:
    """Half the weight of a band that was not weighed. [N]

    Section = F / (mu (stretch - 1 / stretch^2)), as of an ideal rubber, times length and density.

    Args:
        head: Of the run; the flat length counts.
        length: Half-path lengths, shape (n,). [m]
        pull: Pull at each, shape (n,). [N]
    """
    top = int(np.argmax(length))
    stretch = max(length[top] / head.band.flat_length, 1.1)
    section = max(pull[top], 0.0) / (RUBBER_MODULUS * (stretch - stretch**-2))
    return 0.5 * float(section) * head.band.flat_length * RUBBER_DENSITY * G_STANDARD
