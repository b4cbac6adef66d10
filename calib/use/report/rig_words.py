"""Units of a rig's loads and words for its ways."""

from typing import Literal

from calib.units import POUND

Unit = Literal["kg", "lb"]
UNIT: dict[Unit, float] = {"kg": 1.0, "lb": POUND}
WORDS: dict[Literal["up", "down"], str] = {"up": "going up", "down": "coming down"}
