"""The band's own weight in a reading: what it takes from or adds to the pull, and how heavy an unweighed band may be.

Known from the weighed mass, or guessed; no reading is corrected here.
"""

import numpy as np

from calib import assumptions
from calib.gravity import local_gravity
from calib.records import Array, RunHead
from calib.units import G_STANDARD


def half_weight(head: RunHead, length: Array, pull: Array) -> tuple[float, float]:
    """Correction to the pull for the band's own weight, and its standard uncertainty. [N]

    The pull meant is that at mid-length; the scale also carries, or its zero already took off, half the band. A band
    that was not weighed is taken as heavy as rubber of its pull and length is, and known to half of that: left out, a
    weight whose sign is known would lean the curve to one side.

    Args:
        head: Of the run.
        length: Half-path lengths, shape (n,). [m]
        pull: Pull at each before this correction, shape (n,). [N]
    """
    p, zeroed = head.procedure, head.scale.zeroed if head.scale else "hook-only"
    if p.method == "hung-weight":
        sign = 1.0  # the load hangs below mid-length together with half the band
    elif zeroed == "band-both-ends" or (p.orientation == "horizontal" and p.method != "anchor-on-scale"):
        return 0.0, 0.0
    else:
        below = p.scale_at == "bottom" or p.method == "anchor-on-scale"  # an anchor stands below the band
        sign = {"hook-only": -1.0, "band-free": 1.0}[zeroed] * (-1.0 if below else 1.0)
    if head.band.mass:
        return sign * head.band.mass * local_gravity(p.latitude_deg, p.altitude)[0] / 2, 0.0
    guess = weight_guess(head, length, pull)
    return sign * guess, assumptions.value("u_weight_guess") * guess


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
    section = max(pull[top], 0.0) / (assumptions.value("shear_modulus") * (stretch - stretch**-2))
    return 0.5 * float(section) * head.band.flat_length * assumptions.value("rubber_density") * G_STANDARD
