"""Units of a rig's loads."""

from typing import Literal

from calib.units import POUND

Unit = Literal["kg", "lb"]
UNIT: dict[Unit, float] = {"kg": 1.0, "lb": POUND}
