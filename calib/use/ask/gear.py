"""Scale, tape and holes as the answers describe them."""

from collections.abc import Mapping

from calib.acquire.recording.course import course_of
from calib.acquire.recording.plan import Holes
from calib.acquire.recording.typed_entry import number_in_unit
from calib.frozen import dataclass
from calib.records import LengthSetup, Method, RunHead, ScaleInUse
from calib.units import INCH, LENGTH


@dataclass(frozen=True)
class Units:
    """What the user's tape and scale are marked in."""

    length: str
    force: str

    @property
    def small(self) -> str:
        """For widths and diameters."""
        return "in" if self.length == "in" else "mm"

    @property
    def in_prompts(self) -> Mapping[str, str]:
        """By the names that prompts have for them."""
        return {"length": self.length, "force": self.force, "small": self.small}


@dataclass(frozen=True)
class Gear:
    """Scale and way of reading lengths."""

    method: Method
    scale: ScaleInUse | None
    capacity: float | None  # [N]
    setup: LengthSetup
    holes: Holes | None
    units: Units

    @property
    def step(self) -> float:
        """What a tape is easily set to. [m]"""
        return 0.25 * INCH if self.units.length == "in" else 0.005

    def length_text(self, length: float) -> str:
        """A length as taped, in the user's unit."""
        return f"{number_in_unit(length, self.units.length, LENGTH)} {self.units.length}"

    def place(self, length: float) -> str:
        """Where a length is set: a hole, or what the tape reads."""
        return f"hole {self.holes.number(length)}" if self.holes else self.length_text(length)


def gear_of(head: RunHead) -> Gear:
    """The gear of a recording, from its head."""
    course = course_of(head, ())
    units = Units(course.length_unit, course.force_unit)
    return Gear(head.procedure.method, head.scale, course.capacity, head.length, course.holes, units)
