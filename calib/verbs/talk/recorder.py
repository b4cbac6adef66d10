"""The recording at a terminal: asks for what comes next, waits, and has every row on disk before it asks again.

What a typed line means is decided in `acquire.recording.machine`; here are prompts, the clock, and a disk that fails.
"""

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from calib.acquire.files.run_file import RunWriter
from calib.acquire.recording.course import PIECES, Slot, geometry
from calib.acquire.recording.machine import take
from calib.acquire.recording.new_file import free_name, head_text, write_whole
from calib.acquire.recording.state import Recording
from calib.acquire.recording.twice import ask_for_more
from calib.acquire.recording.typed_commands import row_words
from calib.acquire.recording.typed_entry import clean, number_in_unit, place_words
from calib.errors import BandcurveError
from calib.frozen import dataclass
from calib.records import Row, RunHead
from calib.safe_write import write_atomically
from calib.units import FORCE, G_STANDARD, LENGTH
from calib.use.report.first_kilos import first_kilos
from calib.verbs.terminal import live
from calib.verbs.terminal.prompts import BACK, HELP, BackError, EndOfInputError, ask_line, say, typed_path, yes

UNKEPT = "not all is on the disk"  # said by the interruption that ends a recording whose disk failed


@dataclass(frozen=True)
class Pace:
    """How fast the recording goes."""

    counts_down: bool  # False when piped, typed from paper, or asked for
    move_s: float = 10.0
    clock: Callable[[], float] = time.time  # seconds of the day's clock


@dataclass
class Recorder:
    """A recording under way and the file it goes to."""

    state: Recording
    writer: RunWriter
    path: Path
    pace: Pace
    started: float  # by the clock of the pace
    last_index: int = -1
    explained: bool = False
    choose: Callable[[Recording], tuple[Row, str]] | None = None  # of the next reading, where the plan is not fixed
    resume_options: str = ""  # to be given again when the recording is taken up
    port: str = ""  # of the load cell that takes the readings
    set_up: Callable[[], RunHead] | None = None  # asks for the head again, before the first reading

    def record(self) -> None:
        """Ask until everything is measured.

        Raises:
            EndOfInputError: There are no more lines; everything accepted is on disk.
        """
        wait_for = self._full_wait()
        while (slot := self._next_slot()) is not None:
            fresh = self.state.index != self.last_index
            if fresh:
                self.announce(slot)
                wait_for = self._full_wait()
                self.last_index = self.state.index
            line, held = self._line(slot, wait_for if fresh or wait_for.move_s == 0 else None)
            if clean(line).lower() == BACK and self.set_up is not None and self._nothing_read:
                raise BackError
            if not line.strip():
                line = self._empty_means(slot)
            rows_before = len(self.state.rows)
            before = self.state
            step = take(before, line, self.now(), held)
            self.state = step.state
            self.keep(step.written)
            say(*(f"  {text}" for text in (*step.say, first_kilos(before, step.state)) if text))
            say(*(f"  Zero: {self._force(r.force)}." for r in step.written if r.kind == "zero" and not r.about))
            wait_for = live.Wait(0.0, self.state.course.dwell_s) if step.wait_again else live.Wait(1.0, 0.0)
            if any(r.kind == "strike" for r in self.state.rows[rows_before:]):
                self.last_index = -1 if self.state.index < self.last_index else self.last_index

    @property
    def _nothing_read(self) -> bool:
        """Nothing counts yet: no row, or only a zero that was taken back."""
        return not self.state.place.filled and {r.kind for r in self.state.rows} <= {"zero", "strike"}

    def _next_slot(self) -> Slot | None:
        """What comes next; chosen now where the readings are chosen one by one."""
        step = ask_for_more(self.state, self.choose)
        self.state = step.state
        self.keep(step.written)
        say(*(f"  {words}" for words in step.say))
        return self.state.slot

    def begin_again(self, state: Recording) -> None:
        """Put another head on disk in place of the one there; no reading was given yet."""
        self.state = state
        self.started = self.pace.clock()
        try:
            self.writer.refuse_if_changed()
            self.writer.close()
            write_atomically(self.path, head_text(state))
            self.writer, _ = RunWriter.resume(self.path)
        except (BandcurveError, OSError) as error:
            say(f"  Not on disk: {error}.")
            self._elsewhere()

    def now(self) -> float | None:
        """Time since the start; a form does not say when a reading was taken. [s]"""
        if self.state.course.on_paper:
            return None
        return max(0.0, self.pace.clock() - self.started)

    def _full_wait(self) -> live.Wait:
        locks = self.state.head.scale.locks if self.state.head.scale else "no"
        words = "hold still" if locks == "no" else "hold until it locks"
        return live.Wait(self.pace.move_s, self.state.course.dwell_s, words)

    def _line(self, slot: Slot, wait: live.Wait | None) -> tuple[str, float | None]:
        """One typed line and how long the length was held."""
        prompt = self._prompt(slot)
        if slot.kind != "reading" or not self.pace.counts_down or wait is None:
            return ask_line(prompt), None
        waited = live.countdown(wait)
        return ask_line(prompt, waited.begun), waited.held_s

    def announce(self, slot: Slot) -> None:
        """Say what comes next."""
        state, course = self.state, self.state.course
        first_of_sweep = slot.kind == "reading" and (
            self.last_index < 0 or _sweep(state.slots[self.last_index]) != _sweep(slot)
        )
        if first_of_sweep:
            say("", *self._sweep_words(slot))
        if slot.kind != "reading" or slot.setting is None:
            return
        readings = [i for i, s in enumerate(state.slots) if s.kind == "reading"]
        of = "" if course.asked is not None else f"/{len(readings)}"
        count = f"[{readings.index(state.index) + 1}{of}]"
        way = "out" if slot.branch == "loading" else "back"
        if state.hung:
            hang = "" if course.on_paper else "hang "
            say(f"{count} {way}: {hang}{self._mass(slot.setting)}{self._plates(slot.setting)}")
            return
        stretch = geometry(state.head).stretch(slot.setting)
        place = place_words(slot.setting, course, LENGTH)
        say(f"{count} {way}: {'at' if course.on_paper else 'set'} {place}, {stretch:.2f} x flat")

    def _sweep_words(self, slot: Slot) -> Sequence[str]:
        if self.state.course.on_paper:
            way = "out, down its column" if slot.branch == "loading" else "back, up the next column"
            words = [f"From the form: cycle {slot.cycle}, {way}."]
            if not self.explained:
                words.append("A cell that is empty: skip. ? lists what else you can type: undo, note, strike, stop.")
            self.explained = True
            return words
        if slot.branch == "unloading" and self.state.hung:
            return ("Now back: take plates off, step by step.",)
        if slot.branch == "unloading":
            return ("Now back through the same lengths, coming to each from the longer side.",)
        dwell = f"{self.state.course.dwell_s:g} s"
        how = "plates on, step by step" if self.state.hung else "coming to each length from the shorter side"
        anew = "unhook the band, hook it on again; then " if (slot.cycle or 1) > 1 else ""
        if self.state.head.extensions.get("quick") and anew:
            return (f"Now the same once more: {anew}out.",)
        words = [f"Cycle {slot.cycle}: {anew}out, {how}."]
        if self.explained:
            return words
        self.explained = True
        if self.pace.counts_down:
            move = f"{self.pace.move_s:g} s"
            words.append(f"After each Enter: {move} to set the next, {dwell} to hold. At the bell: read, type, Enter.")
            words.append("Enter alone: hold again. ? lists what else you can type: undo, skip, note, strike, stop.")
        else:
            words.append(f"Hold {dwell} before each reading. ? lists what else you can type: undo, skip, note, stop.")
        return words

    def _plates(self, load: float) -> str:
        """Which plates make a load, where they are named."""
        names = (self.state.head.extensions.get(PIECES) or {}).get(f"{load:.6g}")
        return f" ({' + '.join(names)})" if names else ""

    def _mass(self, kilogram: float) -> str:
        unit = self.state.course.force_unit
        return f"{number_in_unit(kilogram * G_STANDARD, unit, FORCE)} {unit}"

    def _force(self, newton: float | None) -> str:
        unit = self.state.course.force_unit
        return f"{number_in_unit(newton or 0.0, unit, FORCE)} {unit}"

    def _prompt(self, slot: Slot) -> str:
        course, head = self.state.course, self.state.head
        if course.on_paper and slot.kind == "flat":
            return f"Flat length after, from the form, {course.length_unit} [Enter: not measured]: "
        if slot.kind == "zero":
            return self._zero_prompt(slot)
        if slot.kind == "check-load" and head.check_load is not None:
            alone = f"{course.force_unit} [Enter: leave it out]: "
            plate = f"({self._mass(head.check_load.mass)})"
            if head.procedure.method == "anchor-on-scale":
                return f"The known plate {plate} beside the weight. It shows, {alone}"
            return f"The known plate alone {plate}. It shows, {alone}"
        if slot.kind == "flat":
            return f"Flat length at the end, {course.length_unit} [Enter: not measured]: "
        if self.state.hung:
            return f"  length, {course.length_unit}: "
        return f"  shows, {course.force_unit}: "

    def _zero_prompt(self, slot: Slot) -> str:
        course, unit = self.state.course, self.state.course.force_unit
        alone = " [0]" if self._zero_by_enter(slot) else ""
        if course.on_paper:
            empty = " (cell empty: skip)" if slot.closing else alone
            return f"Zero {'after' if slot.closing else 'before'}, from the form, {unit}{empty}: "
        hangs = self._at_zero()
        if slot.closing:
            return f"{hangs}, as at the start. Do not zero the scale. It shows, {unit}: "
        zero_it = "" if self.state.head.procedure.method == "anchor-on-scale" else " Zero the scale."
        return f"{hangs}.{zero_it} It shows, {unit}{alone}: "

    def _at_zero(self) -> str:
        """What is on the scale when its zero is read."""
        p, scale = self.state.head.procedure, self.state.head.scale
        if p.method == "anchor-on-scale":
            return "Band slack, weight on the scale"
        if p.orientation == "horizontal" or scale is None:
            return "Band slack"
        hung = {"hook-only": "Only the hook on the scale", "band-free": "Band hanging free at one end"}
        return hung.get(scale.zeroed, "Band slack, hooked at both ends")

    def _zero_by_enter(self, slot: Slot) -> bool:
        """Whether Enter alone is a zero of 0: only where the scale was set to zero just now."""
        return not slot.closing and self.state.head.procedure.method != "anchor-on-scale"

    def _empty_means(self, slot: Slot) -> str:
        """What Enter alone stands for."""
        if self.state.pending is not None or slot.kind == "reading":
            return ""
        if slot.kind == "zero":
            return "0" if self._zero_by_enter(slot) else ""
        return "skip"

    def keep(self, rows: Sequence[Row]) -> None:
        """Have rows on disk, here or in another place."""
        done = 0
        while done < len(rows):
            try:
                self.writer.append(rows[done])
                done += 1
            except (BandcurveError, OSError) as error:
                say(f"  Not on disk: {error}.")
                self._elsewhere()
                return  # the new file holds everything

    def _elsewhere(self) -> None:
        """Find another place for the whole recording; where nobody answers any more, say what is not on the disk."""
        say(f"  Nothing is lost: all {len(self.state.rows)} rows are still in memory.")
        try:
            self._ask_elsewhere()
        except (EndOfInputError, KeyboardInterrupt) as stopped:
            if not self.state.rows:
                raise
            say("", "  NOT ON DISK. Write the last of these down on paper:")
            say(*(f"  {row_words(self.state, row)}" for row in self.state.rows[-12:]))
            raise type(stopped)(UNKEPT) from stopped

    def _ask_elsewhere(self) -> None:
        """Ask until the whole recording is there."""
        while True:
            text = clean(ask_line("  Another folder to store it in (Enter: try the old one again): "))
            if text.lower() in (*HELP, BACK):
                say("  The place it was kept in cannot be written to. Type a folder on another disk or stick.")
                continue
            if text[:1].isdecimal():
                say("  That looks like a reading, but the recording needs a folder first. Type a folder.")
                continue
            try:
                folder = typed_path(text) if text else self.path.parent
                if text and not folder.is_dir() and not yes(f"  There is no folder {text}. Create it?", default=False):
                    continue
                path = free_name(folder, self.state.head.band.id)
                self.writer = write_whole(path, self.state)
            except (BandcurveError, OSError, ValueError) as error:
                say(f"  That failed too:  {error}.")
                continue
            self.path = path
            say(f"  Now in {path}.")
            return


def _sweep(slot: Slot) -> tuple[object, object]:
    return slot.cycle, slot.branch
