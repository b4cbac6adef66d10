"""A typed entry against what the recording knows so far: is it believable, and with which words is it asked again?

The comparison itself is in `doubt`; here are zeros, units and sentences. Nothing is kept or printed here.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from math import log

from calib.acquire.files.run_events import KEPT
from calib.acquire.recording import course as courses
from calib.acquire.recording.course import Course
from calib.acquire.recording.plan import CAPACITY_SHARE, REFUSE_STRETCH, Geometry, loop_shape
from calib.acquire.recording.reading_doubt import Expectation, KnownReading, TypedReading, expect, likely_slip
from calib.acquire.recording.typed_entry import Typed, number_in_unit
from calib.frozen import dataclass
from calib.records import Row, Run
from calib.units import FORCE, G_STANDARD, LENGTH, other_unit

ZERO_TOLERANCE = 0.03  # of the capacity, or of the largest reading
ZEROED_TOLERANCE = 0.002  # of the capacity, where the scale was set to zero just now
ZEROED_STEPS = 3  # of the scale, the same
QUICK_TOLERANCE = 0.6  # of ln pull: few readings cannot tell which of them is off by less; the second pull can
FIRST_AT_CELL = log(2.0)  # of ln pull, of the first reading from a load cell: lb taken for kg is 2.2
CHECK_LOAD_TOLERANCE = 0.04  # relative
FLAT_TOLERANCE = 0.03  # relative
LIFT_OFF_SHARE = 0.8  # of what stands on the platform; the rest keeps it there
LEAST_STRETCH_TO_GO_BY = 1.05  # below it a millimetre of the flat length decides what a pull implies further out
LEAST_STRETCH = 0.99  # a taut band is not shorter than lying flat
UNITS_MISTAKEN = {"length": {"mm": ("cm", "in"), "cm": ("in", "mm"), "m": ("ft",), "in": ("cm", "mm"), "ft": ("m",)}}


@dataclass(frozen=True)
class Judge:
    """What is known of the band and its gear at one moment of a recording."""

    run: Run
    course: Course

    @cached_property
    def geometry(self) -> Geometry:
        """From lengths as taped to stretch."""
        return courses.geometry(self.run.head)

    @property
    def method(self) -> str:
        """How the force is measured."""
        return self.run.head.procedure.method

    @cached_property
    def zero(self) -> float:
        """The latest zero, 0 where there is none. [N]"""
        zeros = [r.force for r in self.run.standing("zero") if r.force is not None]
        return zeros[-1] if zeros else 0.0

    def pull(self, row: Row) -> float | None:
        """What a reading row says the band pulls, uncorrected. [N]"""
        if self.method == "hung-weight":
            loads = self.run.head.loads
            return None if row.mass is None else (row.mass + (loads.hook_mass if loads else 0.0)) * G_STANDARD
        if row.force is None:
            return None
        zero = self._zero_at(row)
        return zero - row.force if self.method == "anchor-on-scale" else row.force - zero

    def _zero_at(self, row: Row) -> float:
        """The zero a reading is to be seen from: a later one says nothing of it where the zero was lost between. [N]"""
        lost = [r.number for r in self.run.rows if r.kind == "zero-lost"]
        until = min((n for n in lost if n > row.number), default=None)
        if until is None:
            return self.zero
        zeros = [r.force for r in self.run.standing("zero") if r.force is not None and r.number < until]
        return zeros[-1] if zeros else 0.0

    @cached_property
    def standing_readings(self) -> tuple[KnownReading, ...]:
        """Readings that stand, as stretch and pull."""
        found = []
        for row in self.run.readings:
            pull = self.pull(row)
            if pull is not None and row.length is not None and row.branch is not None:
                found.append(KnownReading(self.geometry.stretch(row.length), pull, row.branch, row.cycle or 0))
        return tuple(found)

    def expected(self, row: Row, length: float) -> Expectation | None:
        """Expected pull at a length as taped, on the branch of a row."""
        first = courses.stiffness(self.run.head)
        found = expect(self.standing_readings, self.geometry.stretch(length), row.branch or "loading", first)
        if found is None or not self.run.head.extensions.get("quick"):
            return found
        return replace(found, tolerance=max(found.tolerance, QUICK_TOLERANCE))

    def read_words(self, row: Row) -> str:
        """What was read at a row, in the user's unit."""
        return self._length(row.length or 0.0) if self.method == "hung-weight" else self._force(row.force or 0.0)

    @property
    def limit(self) -> float | None:
        """Pull at which no longer length is asked for. [N]"""
        if self.method == "anchor-on-scale":
            return LIFT_OFF_SHARE * self.zero if self.zero > 0 else None
        if self.method == "hung-weight" or self.course.capacity is None:
            return None
        return CAPACITY_SHARE * self.course.capacity

    def too_much(self, length: float) -> bool:
        """Whether the pull at a length would pass the limit, as far as two readings or more can tell. [m]"""
        if self.limit is None or len(self.standing_readings) < 2:
            return False
        found = expect(self.standing_readings, self.geometry.stretch(length), "loading")
        return found is not None and found.force > self.limit

    def implied_top(self, stretch: float, pull: float) -> float | None:
        """What a pull at a stretch implies for the longest length of the plan. [N]"""
        top = self.geometry.stretch(max(self.course.settings, default=0.0))
        if self.method == "hung-weight" or not LEAST_STRETCH_TO_GO_BY <= stretch < top:
            return None
        return pull * loop_shape(top) / loop_shape(stretch)

    def bearable_top(self, row: Row) -> float:
        """The longest length whose pull stays within the limit, going by the readings so far and this one. [m]"""
        at, pull = self.geometry.stretch(row.length or 0.0), self.pull(row) or 0.0
        low, high = at, self.geometry.stretch(max(self.course.settings))
        for _ in range(30):
            middle = 0.5 * (low + high)
            found = expect(self.standing_readings, middle, "loading") if len(self.standing_readings) > 1 else None
            force = found.force if found else pull * loop_shape(middle) / loop_shape(at)
            low, high = (low, middle) if force > (self.limit or 0.0) else (middle, high)
        return self.geometry.length(low)

    def passes(self, stretch: float, pull: float) -> bool:
        """Whether the rest of the plan would go beyond the limit, going by this one reading."""
        top = self.implied_top(stretch, pull)
        return self.limit is not None and top is not None and top > self.limit

    def limit_words(self) -> str:
        """Why longer lengths are left out."""
        if self.method == "anchor-on-scale":
            return "Further out the band might lift what stands on the scale."
        return "Further out the pull would exceed 80 % of the scale's capacity."

    def doubt(self, row: Row, typed: Typed) -> str | None:
        """The question to ask about an entry, None where it is believable."""
        if row.kind == "zero":
            return self._zero_doubt(row)
        if row.kind == "check-load":
            return self._check_load_doubt(row, typed)
        if row.kind == "flat":
            return self._flat_doubt(row, typed)
        return self._reading_doubt(row, typed)

    def _reading_doubt(self, row: Row, typed: Typed) -> str | None:
        own = self._own_length_doubt(row, typed)
        if own is not None:
            return own
        if self.method == "hung-weight":
            return self._hung_doubt(row, typed)
        return self._force_doubt(row, typed) if row.n is None else self._cell_doubt(row)

    def _cell_doubt(self, row: Row) -> str | None:
        """A load cell makes no slips of the pen; a strap slips, and a length is set one place off."""
        length, pull = row.length or 0.0, self.pull(row) or 0.0
        expectation = self.expected(row, length)
        says = f"{self._force(pull)} at {self._length(length)}"
        if not any(k.branch == "loading" for k in self.standing_readings) and (
            expectation is None or expectation.fits(pull)
        ):
            off = 0.0 if expectation is None else abs(log(pull / expectation.force))
            if expectation is None or off <= FIRST_AT_CELL:
                return self._first_doubt(says, length, pull, None)
            about = f"{self._about(expectation.force)} from width and thickness"
            return f"{says}? Expected {about}. Are the line's unit, width and thickness right?"
        if expectation is None or expectation.fits(pull):
            return None
        slip = self._one_place_off(row, pull) or other_unit(pull / expectation.force)
        likely = f"Looks like {slip}." if slip else "Is the length right, and did everything hold?"
        return f"{says}? Expected {self._about(expectation.force)}. {likely}"

    def _force_doubt(self, row: Row, typed: Typed) -> str | None:
        force, length = row.force or 0.0, row.length or 0.0
        expectation = self.expected(row, length)

        def fits(value: float) -> bool:
            shown_force = value * FORCE[self.course.force_unit]
            pull = self.pull(Row(row.number, force=shown_force))
            if pull is None or not self._can_show(shown_force):
                return False
            if expectation is None:  # the first reading of all: any pull that the rest of the plan can follow
                return pull > 0 and not self.passes(self.geometry.stretch(length), pull)
            return expectation.fits(pull)

        def is_a_length(value: float) -> bool:
            return 1.0 < self.geometry.stretch(value * LENGTH[self.course.length_unit]) < REFUSE_STRETCH

        wanted = None if expectation is None else self._shown_for(expectation.force)
        entry = self._force_entry(typed, fits, is_a_length, wanted)
        says = f"{self._force(force)} at {self._length(length)}"
        capacity = self.course.capacity
        if capacity is not None and abs(force) > capacity:
            guess = likely_slip(entry) or "the decimal point, or the wrong number"
            return f"{says} is more than this scale can show ({self._force(capacity)}): {guess}?"
        pull = self.pull(row) or 0.0
        if force < 0:
            return f"{says}: {likely_slip(entry)}?"
        if pull <= 0:
            return f"{says} is no pull at all (it showed {self._force(self.zero)}): is the band on?"
        first = not any(k.branch == "loading" for k in self.standing_readings)
        if first and (expectation is None or expectation.fits(pull)):
            return self._first_doubt(says, length, pull, likely_slip(entry))
        if expectation is None or expectation.fits(pull):
            return None
        return self._does_not_go(row, says, pull, expectation, likely_slip(entry))

    def _does_not_go(self, row: Row, says: str, pull: float, expectation: Expectation, slip: str | None) -> str:
        """What to say of a pull that does not go with the others: this reading's likely slip, or the one before's."""
        before = self._slip_before(row, pull) if len(self.standing_readings) == 1 else None
        if before is not None and self.run.readings[-1].about == KEPT:
            earlier = self._reading(self.run.readings[-1])
            return f"{says} does not fit {earlier}. That one looks like {before}: type undo and enter it again."
        if slip is None or "misread" in slip or "instead of" in slip:
            slip = self._one_place_off(row, pull) or slip
        wanted = self._about(self._shown_for(expectation.force))
        if not self.standing_readings:
            wanted += " from width and thickness"
        words = self._words(says, wanted, slip)
        if len(self.standing_readings) != 1:
            return words
        named = f"{self._reading(self.run.readings[-1])}" + (f", {before}" if before else "")
        return f"{words} Or was the one before wrong ({named})? Then: undo"

    def _can_show(self, force: float) -> bool:
        return self.course.capacity is None or abs(force) <= self.course.capacity

    def _first_doubt(self, says: str, length: float, pull: float, slip: str | None) -> str | None:
        """The first reading against what it implies for the longest length planned."""
        stretch = self.geometry.stretch(length)
        if not self.passes(stretch, pull):
            return None
        implied = self._about(self.implied_top(stretch, pull) or 0.0)
        bears = (
            "the limit that keeps the weight on the scale"
            if self.method == "anchor-on-scale"
            else "80 % of its capacity"
        )
        top = self._length(max(self.course.settings))
        likely = f"Looks like {slip}." if slip and "misread" not in slip and "swapped" not in slip else "Is it right?"
        limit = f"{bears} ({self._about(self.limit or 0.0).removeprefix('about ')})"
        return f"{says} would mean {implied} at {top}, more than {limit}. {likely}"

    def _slip_before(self, row: Row, pull: float) -> str | None:
        """The slip in the only reading so far that would make it go with this one; None where there is none."""
        before, unit = self.run.readings[-1], self.course.force_unit
        at = self.geometry.stretch(before.length or 0.0)
        from_this = expect([KnownReading(self.geometry.stretch(row.length or 0.0), pull, "loading", 1)], at, "loading")

        def fits(value: float) -> bool:
            other = self.pull(Row(0, force=value * FORCE[unit]))
            if from_this is None or other is None or not from_this.fits(other):
                return False
            return self._can_show(value * FORCE[unit]) and not self.passes(at, other)

        shown_before = before.force or 0.0
        typed = Typed(number_in_unit(shown_before, unit, FORCE), shown_before)
        implied = None if from_this is None else self._shown_for(from_this.force)
        slip = likely_slip(self._force_entry(typed, fits, lambda _: False, implied))
        return None if slip is None or "misread" in slip or "swapped" in slip else slip

    def _reading(self, row: Row) -> str:
        return f"{self._force(row.force or 0.0)} at {self._length(row.length or 0.0)}"

    def _one_place_off(self, row: Row, pull: float) -> str | None:
        """The slip of having set the length before or after the one asked for."""
        places = self.course.settings
        if row.length not in places or len(self.standing_readings) < 3:
            return None
        at = places.index(row.length)
        for length in places[at + 1 : at + 2] + places[max(at - 1, 0) : at]:
            found = self.expected(row, length)
            if found is not None and found.fits(pull):
                return f"the pull at {self._length(length)}: one place off"
        return None

    def _shown_for(self, pull: float) -> float:
        return self.zero - pull if self.method == "anchor-on-scale" else self.zero + pull

    def _hung_doubt(self, row: Row, typed: Typed) -> str | None:
        length, pull = row.length or 0.0, self.pull(row) or 0.0
        unit = self.course.length_unit

        def fits(value: float) -> bool:
            taped = value * LENGTH[unit]
            if not LEAST_STRETCH <= self.geometry.stretch(taped) <= REFUSE_STRETCH:
                return False
            found = self.expected(row, taped)
            return not self.standing_readings if found is None else found.fits(pull)

        def is_the_load(value: float) -> bool:
            mass = value * FORCE[self.course.force_unit] / G_STANDARD
            return row.mass is not None and abs(mass - row.mass) < 0.02 * row.mass

        if fits(length / LENGTH[unit]):
            return None
        slip = likely_slip(self._length_entry(typed.text, length, fits, is_the_load, "load"))
        stretch = self.geometry.stretch(length)
        fitting = (
            "does not fit the other lengths" if self.standing_readings else f"is {stretch:.2f} times the flat length"
        )
        says = f"{self._length(length)} {fitting}"
        return f"{says}: {slip}?" if slip else f"{says}. Is it right?"

    def _own_length_doubt(self, row: Row, typed: Typed) -> str | None:
        if typed.setting_text is None or row.length is None or self.method == "hung-weight":
            return None

        def fits(value: float) -> bool:
            return LEAST_STRETCH <= self.geometry.stretch(value * LENGTH[self.course.length_unit]) <= REFUSE_STRETCH

        unit = self.course.length_unit
        if fits(row.length / LENGTH[unit]):
            return None
        slip = likely_slip(self._length_entry(typed.setting_text, row.length, fits, lambda _: False, "pull"))
        says = f"{self._length(row.length)} is {self.geometry.stretch(row.length):.2f} times the flat length"
        return f"{says}: {slip}?" if slip else f"{says}. Is it right?"

    def _zero_doubt(self, row: Row) -> str | None:
        force = row.force or 0.0
        earlier = [r.force for r in self.run.standing("zero") if r.force is not None]
        largest = max([abs(r.force or 0.0) for r in self.run.readings], default=0.0)
        if not self._can_show(force):
            most = self._force(self.course.capacity or 0.0)
            return f"{self._force(force)} is more than this scale can show ({most}): the decimal point, or a length?"
        if self.method == "anchor-on-scale" and force <= 0:
            return f"{self._force(force)}: with the band slack the scale should show the weight on it. Is it right?"
        if row.n is None and not earlier and self._set_to_zero and force != 0:
            resolution = self.run.head.scale.resolution if self.run.head.scale else 0.0
            if abs(force) > max(ZEROED_STEPS * resolution, ZEROED_TOLERANCE * (self.course.capacity or 0.0)):
                says = f"{self._force(force)} right after zeroing? It should show 0 or nearly so"
                return f"{says}: zero it again, or is the band still pulling?"
        around = earlier[-1] if earlier else (force if self.method == "anchor-on-scale" else 0.0)
        allowed = ZERO_TOLERANCE * max(self.course.capacity or 0.0, largest, 30 * G_STANDARD)
        if abs(force - around) <= allowed:
            return None
        at_first = f"it was {self._force(around)} at first" if earlier else "it should be near 0"
        return f"The zero reads {self._force(force)}, {at_first}: is the band still pulling?"

    @property
    def _set_to_zero(self) -> bool:
        """Whether the scale was zeroed with what hangs there now, so that it shows nothing."""
        scale, p = self.run.head.scale, self.run.head.procedure
        if scale is None or p.method != "scale-in-line":
            return False
        return p.orientation == "horizontal" or scale.zeroed == "band-both-ends"

    def _check_load_doubt(self, row: Row, typed: Typed) -> str | None:
        load = self.run.head.check_load
        if load is None:
            return None
        sign = -1.0 if self.method == "anchor-on-scale" else 1.0
        weight = load.mass * G_STANDARD

        def fits(value: float) -> bool:
            net = value * FORCE[self.course.force_unit] - self.zero
            return any(abs(s * net / weight - 1) <= CHECK_LOAD_TOLERANCE for s in {1.0, sign})

        force = row.force or 0.0
        if fits(force / FORCE[self.course.force_unit]):
            return None
        slip = likely_slip(self._force_entry(typed, fits, lambda _: False, weight + self.zero))
        return self._words(f"{self._force(force)} for the check load", self._about(weight + self.zero), slip)

    def _flat_doubt(self, row: Row, typed: Typed) -> str | None:
        flat, length = self.run.head.band.flat_length, row.length or 0.0
        unit = self.course.length_unit

        def fits(value: float) -> bool:
            return abs(value * LENGTH[unit] / flat - 1) <= FLAT_TOLERANCE

        if fits(length / LENGTH[unit]):
            return None
        slip = likely_slip(self._length_entry(typed.text, length, fits, lambda _: False, "pull"))
        return self._words(f"{self._length(length)} flat", f"near {self._length(flat)} as before", slip)

    def _force_entry(
        self, typed: Typed, fits: Callable[[float], bool], other: Callable[[float], bool], wanted: float | None = None
    ) -> TypedReading:
        unit = self.course.force_unit
        others = ("lb", "N") if unit in ("kg", "kgf") else ("kg", "N") if unit in ("lb", "lbf") else ("kg", "lb")
        factors = tuple((name, FORCE[name] / FORCE[unit]) for name in others)
        wanted = None if wanted is None else wanted / FORCE[unit]
        return TypedReading(typed.text, typed.value / FORCE[unit], fits, other, "length", unit, factors, wanted)

    def _length_entry(
        self, text: str, length: float, fits: Callable[[float], bool], other: Callable[[float], bool], name: str
    ) -> TypedReading:
        unit = self.course.length_unit
        factors = tuple((u, LENGTH[u] / LENGTH[unit]) for u in UNITS_MISTAKEN["length"][unit])
        return TypedReading(text, length / LENGTH[unit], fits, other, name, unit, factors)

    def _words(self, says: str, wanted: str, slip: str | None) -> str:
        likely = f"Looks like {slip}." if slip else "Misread, or did something slip?"
        return f"{says}? Expected {wanted}. {likely}"

    def _force(self, newton: float) -> str:
        return f"{number_in_unit(newton, self.course.force_unit, FORCE)} {self.course.force_unit}"

    def _about(self, newton: float) -> str:
        """Three digits say enough of an expectation."""
        return f"about {float(f'{newton / FORCE[self.course.force_unit]:.3g}'):g} {self.course.force_unit}"

    def _length(self, metre: float) -> str:
        return f"{number_in_unit(metre, self.course.length_unit, LENGTH)} {self.course.length_unit}"
