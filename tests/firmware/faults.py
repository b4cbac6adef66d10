"""What can be wrong with a load cell on a serial line, as scripts: the rows of the table in firmware_notes."""

from dataclasses import dataclass

import numpy as np

from tests.firmware.script import Array, Event, Hold, Pull, Script

SPEED = 57600  # of the firmware [bit/s]
LASTS_S = 7.0
AT_S = 3.0  # when it goes wrong

PULL = Pull([Hold(50.0, for_s=20)], rest_s=1.5)


@dataclass(frozen=True)
class Fault:
    """Something wrong.

    Args:
        name: Which row of the table it is.
        script: That plays it.
        read_at: Speed that the port is read at; None is the right one. [bit/s]
    """

    name: str
    script: Script
    read_at: int | None = None


def _beyond(at: Array) -> Array:
    """More than the converter can hold, from AT_S on. [N]"""
    return np.where(at > AT_S, 9000.0, 50.0)


def _still(at: Array) -> Array:
    return np.zeros_like(at)


def _brown_outs() -> tuple[Event, ...]:
    return tuple(Event(AT_S + 0.7 * i, "brown-out") for i in range(5))


FAULTS = (
    Fault("nothing wrong", Script(PULL, LASTS_S)),
    Fault("no converter from the start", Script(PULL, LASTS_S, [Event(0, "dead", LASTS_S)])),
    Fault("converter lost", Script(PULL, LASTS_S, [Event(AT_S, "dead", LASTS_S)])),
    Fault("data wire at ground", Script(PULL, LASTS_S, [Event(AT_S, "stuck", LASTS_S)])),
    Fault("beyond the range", Script(_beyond, LASTS_S)),
    Fault("cell wire broken from the start", Script(PULL, LASTS_S, [Event(0, "saturation", LASTS_S)])),
    Fault("one restart", Script(PULL, LASTS_S, [Event(AT_S, "reset")])),
    Fault("restarts again and again", Script(PULL, LASTS_S, _brown_outs())),
    Fault("cable pulled", Script(PULL, LASTS_S, [Event(AT_S, "hang-up", LASTS_S)])),
    Fault("wrong speed given", Script(PULL, LASTS_S), read_at=9600),
    Fault("noisy", Script(PULL, LASTS_S, noise_counts=4000)),
    Fault("reversed", Script(PULL, LASTS_S, counts_per_newton=-1097)),
    Fault("does not respond to the load", Script(_still, LASTS_S, noise_counts=0)),
)
