"""A recording that captures its own points: records of a line and keys in, rows and sentences out. No port, no file.

What comes next, and whether a reading is believable, is decided in `recording`; when a point is there, in `held`.
"""

from collections.abc import Callable
from dataclasses import replace

from calib.acquire.cell.lines import Record
from calib.acquire.cell.meter import Meter
from calib.acquire.files.run_events import BETWEEN
from calib.acquire.points.at_cell import ZERO_S, AtCell
from calib.acquire.points.board_clock import BoardClock
from calib.acquire.points.held import Event, Grip, HeldPoint, HoldRules, HoldWatch
from calib.acquire.points.point_rows import held_row
from calib.acquire.points.refusals import silent_for, why_not
from calib.acquire.recording import course as courses
from calib.acquire.recording.machine import take, take_beside, take_row
from calib.acquire.recording.state import Recording, Step
from calib.frozen import dataclass
from calib.records import Row, RowKind
from calib.units import G_STANDARD

LOAD_S = 4.0
SENSED_S = 1.0  # of a length sensor's silence when a hold begins, until that is said
CREPT_SHARE = 0.003  # of the length: a length that moves by more while it is held is said
LOAD_SHARE = 0.10  # relative: this near to its weight the check load is recognised
WENT = 0.15  # share of the force: less than this is relaxing
FAULTS = 3  # in a row, from which on that is said
OVERLOADS = 3  # in a row; fewer may be torn lines
ZERO_AGES = 0.005  # share of a pull by which the zero may have moved, from which on a new one is asked for
LEAST_SAID = 0.3  # share of what counts as slack: less is the band at rest, and nothing is said
HELP = (
    "Points are taken automatically: set the length, hold still, wait for the bell.",
    "  Enter  the length is set now (zero: take it now)",
    "  r      repeat the last one      k  keep a questioned one",
    "  s      skip this one                q  no more readings: finish",
    "  z      take a new zero now",
)


@dataclass(frozen=True)
class Act:
    """What a record or a key led to: rows for the disk, sentences, and how often to ring."""

    rows: tuple[Row, ...] = ()
    say: tuple[str, ...] = ()
    ring: int = 0  # 1 a point was taken, 2 something is wrong

    def followed_by(self, other: "Act") -> "Act":
        """Both, one after the other."""
        return Act((*self.rows, *other.rows), (*self.say, *other.say), max(self.ring, other.ring))


class HandsFree(AtCell):
    """A recording under way at a load cell.

    `state` is the recording, `want` what is captured next: "zero", "check-load", "reading", "flat" (typed), or "" at
    the end; `value` the newest one; `forecast` the pull to expect next, None where nothing says so.
    """

    def __init__(
        self,
        state: Recording,
        meter: Meter,
        grip: Grip,
        u_sensor: Callable[[float], float],
        *,
        same_line: bool = False,
    ) -> None:
        """Begin, or go on where the rows end; then the zero is taken again first.

        Args:
            state: The recording so far.
            meter: What the numbers of the line mean.
            grip: What fixes the length.
            u_sensor: Standard uncertainty of a pull from the sensor. [unit of the value]
            same_line: The line was not interrupted since the last row, so the zero still holds.
        """
        super().__init__(state, meter, grip, u_sensor)
        self._lost = bool(state.rows) and state.slot is not None and not same_line
        self._renewing = False  # a new zero was asked for by key: nothing happened to the line
        self._asked_twice = False  # a zero far from the one before was asked about
        self._said = ""
        self._faults = self._overloads = 0  # in a row
        self._clock = BoardClock()
        self._line_unit: str | None = ""  # of the last reading; "" before the first
        self.watch = HoldWatch(HoldRules.weight(ZERO_S))
        self._next()

    @property
    def ready_s(self) -> float | None:
        """About when the point will be there, None while the force moves. [s]"""
        return self.watch.ready_s

    @property
    def waits_for_key(self) -> bool:
        """Whether a zero is wanted that only the user can say is one."""
        return self.want == "zero" and not self._armed and (self._zero is None or self._maybe_tared)

    def feed(self, record: Record, at_s: float) -> Act:
        """Take the next record of the line.

        Args:
            record: As read.
            at_s: Time since the start of the recording. [s]
        """
        value = self.meter.value(record)
        if record.kind == "reading" and record.unit != self._line_unit:
            before, self._line_unit = self._line_unit, record.unit
            if before != "":
                return self._other_unit(before, record.unit, taken=value is not None)
        if value is not None:
            self.value, self._faults, self._overloads = value, 0, 0
            act = Act()
            for event in self.watch.feed(self._clock.program_time(at_s, record.clock_s), value):
                act = act.followed_by(self._event(event))
            return act
        if record.kind == "reset":
            return self._interrupted(record, at_s)
        if record.kind == "overload":
            self._overloads += 1
            if self._overloads < OVERLOADS:
                return Act()
            self.watch.again()
            return self._once(f"The cell is beyond its range: ease off ({record.note or record.raw.strip()[:40]}).", 2)
        self._faults += record.kind == "fault"
        if self._faults < FAULTS:  # one broken read is no matter
            return Act()
        return self._once(f"The board reports a fault ({record.note or record.raw.strip()[:40]}).", 2)

    def _other_unit(self, before: str | None, now: str | None, *, taken: bool) -> Act:
        """What is said where somebody changes the unit of the scale while a band is measured."""
        self.watch.again()
        what = f"The line is in {now or 'counts'} now, in {before or 'counts'} before"
        how = "it is converted, and the hold starts again" if taken else "nothing is taken until it is set back"
        return Act(say=(f"  {what}: {how}.",), ring=0 if taken else 2)

    def key(self, pressed: str, at_s: float) -> Act:
        """Take one key."""
        if pressed in ("\r", "\n"):
            return self._enter(at_s)
        if pressed in ("h", "?"):
            return Act(say=HELP)
        word = {"k": "keep", "r": "undo", "s": "skip", "q": "stop", "z": "zero"}.get(pressed.lower())
        if word is None or (word == "keep" and self.state.pending is None) or not self.want:
            return Act()
        if pressed.lower() == "z":
            return self._new_zero()
        if word == "undo" and self.state.pending is not None:
            self.state = replace(self.state, pending=None)
            self._next()
            return Act(say=("Dropped. Again:",))
        if word == "undo" and not self._lost and self._zero_between is not None:
            return self._zero_again(self._zero_between, at_s)
        if (self._lost and word in ("undo", "skip")) or (word == "skip" and self.want == "zero" and self._zero is None):
            return Act(say=("A zero comes first: without it no pull is known.",))
        return self._stepped(take(self.state, word, round(at_s, 1)), ring=0)

    def take_line(self, line: str, at_s: float) -> Act:
        """Take a typed line, such as a row to be struck."""
        return self._stepped(take(self.state, line, round(at_s, 1)), ring=0)

    def _new_zero(self) -> Act:
        """Take another zero before the next reading."""
        if self._zero is None or self._lost:
            return Act()
        self._renewing = self._lost = True
        self.state = replace(self.state, pending=None)
        self._next()
        return Act(say=self.zero_words())

    @property
    def _zero_between(self) -> Row | None:
        """The zero that was taken last, where nothing was taken since and it filled no place of the plan."""
        last = self.state.rows[-1] if self.state.rows else None
        return last if last is not None and last.kind == "zero" and last.about == BETWEEN else None

    def _zero_again(self, zero: Row, at_s: float) -> Act:
        about, note = f"{zero.number}", courses.UNDONE
        row = Row(self.state.next_number, "strike", at_s=round(at_s, 1), note=note, about=about)
        step = take_beside(self.state, row)
        self.state = step.state
        self._zero, self._lost = self._last_zero(), True
        self._next()
        return Act(step.written, ("  That zero is dropped. Again:", *self.zero_words()))

    def _enter(self, at_s: float) -> Act:
        if self.state.pending is not None:
            return self._stepped(take(self.state, "keep", round(at_s, 1)), ring=1)
        self._said = ""
        if self.want == "reading":
            self.watch.set_now(at_s)
            return Act(say=("  Length set: hold it.",))
        self._armed = True
        self.watch.again()
        return Act()

    def _event(self, event: Event) -> Act:
        if event.kind == "moved":
            self._said, self._asked_twice = "", False
            if self.state.pending is not None and self._went_on:
                self.state = replace(self.state, pending=None)
                return Act(say=("  It kept moving: that one is not taken.",))
        if event.why is not None:
            grip = self.grip if self.want == "reading" else "weight"
            return self._once(f"  {why_not(event, grip, self.value_text)}", 2)
        if event.kind == "gap" and event.size:
            return Act(say=(f"  {silent_for(event.size)}",))
        if event.point is not None and self.want in ("reading", "check-load"):
            self._lags.append(event.point.lag_s)
        if event.point is None:
            return self._stopped(event.at_s) if event.kind == "stopped" else Act()
        taken = {"zero": self._zero_held, "check-load": self._load_held, "reading": self._reading_held}.get(self.want)
        return taken(event.point) if taken else Act()

    @property
    def _went_on(self) -> bool:
        """Whether what was questioned was a pause: the force has left it, and not by relaxing, which goes back."""
        pending, value = self.state.pending, self.value or 0.0
        if pending is None:
            return False
        left = (value - (pending.force or 0.0)) * (self.watch.way or 1)
        return self.watch.way == 0 or left > 0 or -left > WENT * abs((pending.force or 0.0) - self.zero)

    def _interrupted(self, record: Record, at_s: float) -> Act:
        self.watch.again()
        why = record.note or "the board started again"
        if not self.state.rows or self.want in ("", "flat"):
            return Act()
        if self._lost:
            return Act(say=(f"  {why[:1].upper()}{why[1:]}.",)) if why.startswith("the device") else Act()
        self._lost, self._armed = True, False
        gap = Row(self.state.next_number, "zero-lost", at_s=round(at_s, 1), note=why)
        step = take_beside(replace(self.state, pending=None), gap)
        self.state = step.state
        self._next()
        said = f"{why[:1].upper()}{why[1:]}. Everything accepted is on disk."
        return Act(step.written, (said,), 2)

    def _zero_held(self, point: HeldPoint) -> Act:
        if not self._may_be_zero(point.force):
            return self._no_zero(point.force)
        self._armed = False
        if self._strange_zero(point.force) and not self._asked_twice:
            self._asked_twice = True
            stands = f"It stands at {self.value_text(point.force)}, the zero before was {self.value_text(self.zero)}"
            return Act(say=(f"  {stands}: is the band still pulling? If it is slack, press Enter once more.",), ring=2)
        slot = self.state.slot
        fills = slot is not None and slot.kind == "zero"
        row = self._row(point, "zero")
        before = None if self._lost and not self._renewing else self._zero
        if not fills:
            step = take_beside(self.state, replace(row, about=BETWEEN))
        else:
            step = take_row(self.state, row, self._number(point.force))
        self._u_zero = point.u
        self._drift = self._drift.after(point, anew=before is None)
        said = [f"  Zero: {self.value_text(point.force)}."]
        if self._lost and slot is not None and slot.branch == "unloading":  # the band was let go
            said.append(f"  Unloading was interrupted: first pull out to {self._place(self._top())} again, then back.")
        if before is not None and (fills or self._renewing):
            said.append(f"  It has moved by {self.value_text(point.force - before)} since the zero before.")
        said += self._warming(point)
        return self._stepped(step, 1, tuple(said))

    def _no_zero(self, value: float) -> Act:
        return self._once(f"  It stands at {self.value_text(value)}. Band slack? Then press Enter.", 0)

    def _load_held(self, point: HeldPoint) -> Act:
        load, net = self.state.head.check_load, self._net(point.force)
        if load is None:
            return Act()
        if doubt := self._no_load(net, load.mass * G_STANDARD):
            return doubt
        self._armed = False
        row = replace(self._row(point, "check-load"), note=load.id)
        step = take_row(self.state, row, self._number(point.force))
        return self._stepped(step, 1, (f"  Check load {load.id}: {self.value_text(net)}. Take it off.",))

    def _no_load(self, net: float, weight: float) -> Act | None:
        """What is said where it is not the known plate that hangs there; None where it may be."""
        if self._armed:
            return None
        if abs(net) <= self._zero_tolerance:
            return self._once(f"  {self.value_text(net)} is nearly nothing: hang the plate, or s skips it.", 0)
        if self.meter.in_counts or abs(net / weight - 1) <= LOAD_SHARE:
            return None
        right = f"the known plate shows about {self.value_text(weight)}"
        return self._once(f"  {self.value_text(net)} hangs there; {right}. Enter takes it, s skips.", 2)

    def _reading_held(self, point: HeldPoint) -> Act:
        slot, net = self.state.slot, self._net(point.force)
        if slot is None or (abs(net) < self._slack and not (point.keyed and net > 2 * point.u)):
            return self._slack_words(net)
        if net < 0:
            return self._other_way_round(net)
        if self._from_wrong_side and not point.keyed:
            return self._wrong_side(slot)
        length, said, refused = self._length_of(point, slot.setting or 0.0)
        if refused:
            return self._once(refused, 2)
        row = replace(self._row(point, "reading"), cycle=slot.cycle, branch=slot.branch, length=length)
        step = take_row(self.state, row, self._number(point.force))
        u_zero = self._drift.u_after(point.at_s, self._u_zero)
        u = point.total_u(self.meter.step, self.u_sensor(net), u_zero)
        relaxing = ""
        if row.relax_percent_per_decade is not None:
            relaxing = f", {-row.relax_percent_per_decade:+.1f} % in ten times the time"
        at = self._place(length)
        held = f"{point.dwell_s:.0f} s after the stop"
        said = [f"  {self.value_text(net)} at {at}, u {self.value_text(u)}, {held}{relaxing}.", *said]
        if point.unseen_s:
            said.append(f"  {point.unseen_s:.1f} s of it were silent, which is in its u.")
        if u_zero > max(ZERO_AGES * net, 2 * self._u_zero):
            said.append(f"  The zero may have moved by {self.value_text(2 * u_zero)} by now; z takes a new one.")
        return self._stepped(step, 1, tuple(said))

    def _length_of(self, point: HeldPoint, planned: float) -> tuple[float, list[str], str]:
        """The length of a point, what to say of it, and why it is not taken; the planned one without a sensor. [m]"""
        if self.lengths is None:
            return planned, [], ""
        held = self.lengths.held(point.stopped_s + 1.0, point.at_s + 1.0)
        refused = "" if point.keyed else self._no_length(held, planned)
        if held is None or refused:
            return planned, [], refused
        said = f"  Length read: u {1000 * held.u:.1f} mm."
        if held.crept > max(3 * self.lengths.sensor.u_tape, CREPT_SHARE * planned):
            said = f"{said[:-1]}; it moved by {1000 * held.crept:.0f} mm while held."
        return held.length, [said], ""

    def _slack_words(self, net: float) -> Act:
        """Said of a pull too small to be told from a slack band."""
        least = self.value_text(self._slack)
        return self._once(
            f"  {self.value_text(net)} counts as a slack band (under {least}). Keep pulling, or press "
            "Enter to take it anyway.",
            0,
        )

    def _stopped(self, at_s: float) -> Act:
        """What is said at once where a hold will not be taken."""
        value, load = self.value or 0.0, self.state.head.check_load
        if self.want == "zero":
            return Act() if self.waits_for_key or self._may_be_zero(value) else self._no_zero(value)
        if self.want == "check-load" and load is not None:
            return self._no_load(self._net(value), load.mass * G_STANDARD) or Act()
        slot, pull = self.state.slot, self.pull or 0.0
        if slot is None or self.want != "reading":
            return Act()
        if pull < -self._slack:
            return self._other_way_round(pull)
        if pull < self._slack:
            return self._slack_words(pull) if pull > LEAST_SAID * self._slack else Act()
        if self._from_wrong_side:
            return self._wrong_side(slot)
        if self.lengths is None:
            return Act()
        doubt = self._no_length(self.lengths.held(at_s - SENSED_S, at_s + SENSED_S), slot.setting or 0.0)
        return self._once(doubt, 2) if doubt else Act()

    def _wrong_side(self, slot: courses.Slot) -> Act:
        side = "longer" if slot.branch == "loading" else "shorter"
        return self._once(
            f"  It came from the {side} side. Go back and approach it again; or press Enter to take it anyway.", 2
        )

    @property
    def _from_wrong_side(self) -> bool:
        return self.watch.came == -self.watch.way

    def _other_way_round(self, pull: float) -> Act:
        mend = "leave --reversed out" if self.meter.reversed else "turn it round, or begin again with --reversed"
        return self._once(f"  {self.value_text(pull)}: the cell is reversed; {mend}.", 2)

    def _row(self, point: HeldPoint, kind: RowKind) -> Row:
        return held_row(point, kind, self.state.next_number, self.meter)

    def _stepped(self, step: Step, ring: int, said: tuple[str, ...] = ()) -> Act:
        before, self.state = self.state, step.state
        if step.state.pending is not None:
            doubt = step.say[0] if step.say else ""
            self.watch.leave(self.value or 0.0)
            return Act(step.written, (f"  {doubt}", "  k keeps it, r takes it again."), 2)
        if any(row.kind == "zero" for row in step.written):
            self._zero, self._lost, self._renewing = self._last_zero(), False, False
        if step.state is not before:
            self._next()
        return Act(step.written, (*said, *(f"  {text}" for text in step.say)), ring)

    def _next(self) -> None:
        """A watch for what comes next; what was held until now is not taken again."""
        self._said = ""
        self._armed = self._asked_twice = False
        self.forecast, before = self._forecast(), self.watch
        slot, floor, newton = self.state.slot, self.meter.floor, self.meter.newton
        if self.want == "reading" and slot is not None:
            t_ref = self.state.course.dwell_s
            made = HoldRules.strap if self.grip == "strap" else HoldRules.hand
            way = int(self.sign) * (1 if slot.branch == "loading" else -1)
            rate = self._drift.per_s
            self.watch = HoldWatch(made(t_ref, floor, newton), self._zero or 0.0, way, drift=rate, lag=self._lag)
        else:
            t_ref = ZERO_S if self.want == "zero" else LOAD_S
            self.watch = HoldWatch(HoldRules.weight(t_ref, floor, newton), self._zero or 0.0)
        if self.value is not None and self.want in ("reading", "check-load"):
            self.watch.leave(self.value, before)

    def _once(self, text: str, ring: int) -> Act:
        """Say it, unless it was the last thing said."""
        if text == self._said:
            return Act()
        self._said = text
        return Act(say=(text,), ring=ring)
