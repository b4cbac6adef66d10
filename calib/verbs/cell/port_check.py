"""`bandcurve scale check --port`: a known load is hung and named, its held value taken; counts become force by it.

When a value is held is decided in `acquire.points.held`; the correction is fitted elsewhere, from what comes out here.
"""

import time
from collections.abc import Callable
from dataclasses import field, replace
from pathlib import Path

import numpy as np

from calib.acquire.cell.meter import Meter
from calib.acquire.files.check_table import CAP_BYTES, COUNTS, CheckTable, parse_check_table, read_pieces
from calib.acquire.points.hands_free import LOAD_S
from calib.acquire.points.held import HeldPoint, HoldRules, HoldWatch
from calib.acquire.points.refusals import why_not
from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError
from calib.fit.gear.known_loads import KnownLoads
from calib.frozen import dataclass
from calib.safe_read import read_capped
from calib.scale import CountsLine, Creep, Scale
from calib.units import FORCE, G_STANDARD, other_unit
from calib.use.cell.cell_line import CellLine, no_reading
from calib.use.cell.kept_line import with_line, with_reversed
from calib.use.scales.checked import HungLoads
from calib.use.scales.typed_check import Sheet
from calib.verbs.scale.scale_hung import Draft
from calib.verbs.scale.scale_questions import enough
from calib.verbs.terminal import keyboard, live
from calib.verbs.terminal.prompts import (
    BACK,
    HELP,
    EndOfInputError,
    ask_line,
    draw_prompt,
    say,
    sentence,
    yes,
)

WAIT = 0.1  # s of one wait for bytes
REDRAW = 0.2  # s
CREEP_S, MEAN_S = 300.0, 10.0  # OIML R 76 looks at creep over half an hour; five minutes are a reading's order here
CREEPS = 0.02  # relative: a larger change is another load
OTHER_LOAD = 0.1  # relative: so far off what the others say a load is questioned
HANGS = "Type what hangs now, pieces together as 10+10, 0 for nothing; its held value is taken at the bell."
OFF = "Take everything off, and hook and strap stay as they were; the value with nothing on is read once more."
EMPTY = 3  # times the meter's floor: nothing hangs
RESTARTED = "the board started again, so nothing on is read once more, and what hung now is hung again after it"
OTHER_CELL = 0.2  # relative: counts that differ by more from the file's are another cell's


@dataclass(frozen=True)
class Checked:
    """What a check at a line gave, before it is fitted."""

    hung: HungLoads
    scale: Scale  # with what the line is and what a count is
    creep: Creep | None


@dataclass
class _Taken:
    """Loads and held values so far."""

    sheet: Sheet
    noises: list[float] = field(default_factory=list)  # of the values held since the line was opened
    creep: tuple[float, float] | None = None  # value when it began, and its change

    @property
    def zero(self) -> float:
        """What is shown with nothing on; the first value where no reading was given yet."""
        return next((r.shown for r in self.sheet.rows if not r.pieces), 0.0)


def check_at_line(
    line: CellLine,
    scale: Scale,
    loads: KnownLoads,
    draft: Draft,
    g: float,
    *,
    may_turn: bool = False,
    resume: Path | None = None,
) -> Checked:
    """Have known loads hung one after the other, and take each value by itself.

    Args:
        line: Open and understood.
        scale: As its file stands.
        loads: The set of known loads.
        draft: Keeps what was taken so far.
        g: Of the place. [m/s2]
        may_turn: Keep the sign of a cell that is the other way round without asking.
        resume: What a check that broke off has kept.

    Raises:
        FileError: What it has kept cannot be read.
        DataError: It does not fit this line; or the cell is the other way round and that is not wanted, or it is
            another cell than the file's.
    """
    unit, most = scale.shown_unit or "kg", (scale.capacity_N or float("inf")) / g
    taken = _Taken(Sheet(unit, litres=False))
    if resume is not None:
        _go_on(line, taken, resume)
    say("", "Type what hangs and press Enter; at the bell its value is taken. Start with nothing on it: 0.")
    say("Go up load by load, then down again to 0; Enter on an empty line ends.")
    say("'undo' removes the last one; 'creep' watches the load for five minutes.")
    say(f"Each is kept in {draft.path} until the check is done; after a break: --from that file, with --port.")
    while True:
        try:
            text = clean(ask_line(f"{len(taken.sheet.rows) + 1:>3}> hangs now, {taken.sheet.known_unit}: "))
        except EndOfInputError:
            break
        if not text and enough(taken.sheet.rows, locks=False):
            break
        if text:
            before = taken.sheet.rows
            try:
                _take_load(line, taken, text.lower(), most)
                if line.restarted:
                    _nothing_on_again(line, taken)
            except EndOfInputError:
                break
            if taken.sheet.rows != before:
                draft.keep(taken.sheet.rows, "mass", COUNTS if line.meter.in_counts else "N")
    return _checked(line, scale, loads, taken, g, may_turn=may_turn)


def _go_on(line: CellLine, taken: _Taken, file: Path) -> None:
    """Take up a check that broke off: a board may set itself to zero when it starts, so nothing on is read again."""
    found = parse_check_table(read_capped(file, CAP_BYTES), file.name)
    _refuse_other_line(found, line, file)
    taken.sheet = replace(taken.sheet, rows=found.rows)
    say("", f"Loads kept in {file}: {len(found.rows)}. First the value with nothing on it, at the bell.")
    _nothing_on_again(line, taken)


def _nothing_on_again(line: CellLine, taken: _Taken) -> None:
    """A board that started again may show another value with nothing on it: those taken before are moved by as much.

    Raises:
        EndOfInputError: Nobody is there to take the load off; what was taken is in the draft.
    """
    if not any(not r.pieces for r in taken.sheet.rows):
        line.restarted = False
        return
    point = None
    while point is None:
        if clean(ask_line("Enter when everything is off: ")).lower() in (*HELP, BACK):
            say(f"  {OFF}")
            continue
        line.skip()
        line.restarted = False
        point = _held(line, taken.zero, taken.sheet.unit, through_restart=True)
    draw_prompt(live.BELL)
    moved = point.force - taken.zero
    if abs(moved) > line.meter.floor:
        say(
            f"  That is {value_text(moved, line.meter, taken.sheet.unit)} more than before: the other values "
            "are shifted by that."
        )
        rows = tuple(replace(r, shown=r.shown + moved) for r in taken.sheet.rows)
        taken.sheet = replace(taken.sheet, rows=rows)


def _refuse_other_line(found: CheckTable, line: CellLine, file: Path) -> None:
    if found.in_counts != line.meter.in_counts or found.quantity != "mass":
        told = "counts" if line.meter.in_counts else "force"
        raise DataError(f"does not fit this line, which gives {told}", where=file.name, remedy="start again")
    if not any(not r.pieces for r in found.rows):
        raise DataError("has no row for the empty cell", where=file.name, remedy="start again")


def _take_load(line: CellLine, taken: _Taken, text: str, most: float) -> None:
    """One answer; `most` is what the cell takes. [kg]"""
    if text in HELP:
        say(f"  {HANGS}")
        return
    if text in ("undo", BACK):
        say("  Taken back." if taken.sheet.rows else "  Nothing to undo.")
        taken.sheet = replace(taken.sheet, rows=taken.sheet.rows[:-1])
        return
    if text == "creep":
        _watch_creep(line, taken)
        return
    try:
        pieces = read_pieces(text.replace(",", "."), taken.sheet.known_unit)
    except DataError as error:
        say(f"  {sentence(error)}")
        return
    if sum(pieces) > most:
        shown, unit = most * G_STANDARD / FORCE[taken.sheet.unit], taken.sheet.unit
        say(f"  The cell takes {shown:.4g} {unit}: do not hang that. Mistyped? Then type again what hangs:")
        return
    if sum(pieces) and not any(not r.pieces for r in taken.sheet.rows):
        say("  The empty cell comes first: take everything off and type 0.")  # or no load can be judged by another
        return
    point = _held(line, taken.zero, taken.sheet.unit)
    if point is None:
        if not line.restarted:
            say("  Please type again what hangs:")
        return
    draw_prompt(live.BELL)
    say(f"  {value_text(point.force - taken.zero, line.meter, taken.sheet.unit)}")
    doubt = _doubt(taken, sum(pieces), point.force, line.meter.floor)
    if doubt and not _kept(doubt):
        return
    taken.sheet = taken.sheet.with_row(pieces, point.force)
    taken.noises.append(point.sd)


def _doubt(taken: _Taken, load: float, value: float, floor: float) -> str:
    """What is strange about a value beside those taken before, "" where nothing is. The way round is no matter."""
    loads = [sum(r.pieces) for r in taken.sheet.rows]
    if not load or 0 not in loads:
        return ""
    net = value - taken.zero
    if abs(net) < EMPTY * floor:
        return "It shows the same as with nothing on it. Is the load really hanging?"
    each = [(r.shown - taken.zero) / m for r, m in zip(taken.sheet.rows, loads, strict=True) if m]
    share = net / load / float(np.median(each)) if each else 1.0
    if abs(share - 1) <= OTHER_LOAD:
        return ""
    slip = other_unit(share)
    likely = f"Looks like {slip}." if slip else "Is it the load you typed?"
    expected = f"That is {share:.2g} times what the loads before it lead to expect"
    return f"{expected}. {likely} Or was the one before wrong ('undo')?"


def _kept(doubt: str) -> bool:
    say(f"  {doubt}")
    try:
        return yes("  Keep it?", default=False)
    except EndOfInputError:
        return False


def value_text(value: float, meter: Meter, unit: str) -> str:
    """A value of the line in words."""
    return f"{round(value)} counts" if meter.in_counts else f"{value / FORCE[unit]:.3f} {unit}"


def _held(line: CellLine, zero: float, unit: str, *, through_restart: bool = False) -> HeldPoint | None:
    """Wait until it stands, and take it; None where the line broke off."""
    meter = line.meter
    watch = HoldWatch(HoldRules.weight(LOAD_S, meter.floor, meter.newton), zero)
    found: list[HeldPoint] = []

    def see(at_s: float, value: float) -> bool:
        for event in watch.feed(at_s, value):
            if event.point is not None:
                found.append(event.point)
            elif event.why is not None:
                live.show("")
                say(f"  {why_not(event, 'weight', lambda f: value_text(f, meter, unit))}")
        return bool(found)

    return found[0] if _follow(line, unit, see, through_restart=through_restart) else None


def _follow(line: CellLine, unit: str, see: Callable[[float, float], bool], *, through_restart: bool = False) -> bool:
    """Show the line's values until one is the last wanted; False where the line broke off, or q was pressed.

    Other keys are swallowed: what is typed before the bell would be taken for the next load.
    """
    line.skip()
    if line.restarted:
        say(f"  {RESTARTED}.")
        return False
    drawn = 0.0
    said, heard_s = "", line.listening.now()
    with keyboard.keys_if_any() as key:
        while not line.listening.ended:
            for record in line.listening.poll(WAIT):
                value = line.meter.value(record)
                heard_s = heard_s if value is None else record.at_s
                if value is not None and see(record.at_s, value):
                    live.show("")
                    return True
                if record.kind == "reset" and not through_restart:
                    live.show("")
                    say(f"  {record.note + ': ' if record.note else ''}{RESTARTED}.")
                    line.restarted = True
                    return False
                if record.kind in ("overload", "fault") and record.kind != said:
                    said = record.kind
                    say(f"  {record.kind}: {record.note or record.raw.strip()[:40]}")
                if value is not None and time.monotonic() - drawn > REDRAW:
                    drawn = time.monotonic()
                    live.show(f"  {value_text(value, line.meter, unit)}   wait for the bell (q gives up)")
            if (silence := no_reading(line.listening.now() - heard_s)) and time.monotonic() - drawn > REDRAW:
                drawn = time.monotonic()
                live.show(silence)
            if key(0.0) in ("q", "Q"):
                live.show("")
                return False
    raise DataError("the line ended", where=line.listening.source.name, remedy="is it a captured file?")


def _watch_creep(line: CellLine, taken: _Taken) -> None:
    """How a load's value changes in five minutes."""
    if not taken.sheet.rows or not taken.sheet.rows[-1].pieces:
        say("  Hang a load first, ideally the largest.")
        return
    say("  Leave it hanging for five minutes, until the bell.")
    seen: list[tuple[float, float]] = []

    def see(at_s: float, value: float) -> bool:
        if not seen or at_s - seen[0][0] <= MEAN_S or at_s - seen[0][0] >= CREEP_S - MEAN_S:
            seen.append((at_s, value))
        return at_s - seen[0][0] >= CREEP_S

    if not _follow(line, taken.sheet.unit, see):
        say("  Not watched.")
        return
    draw_prompt(live.BELL)
    middle = seen[0][0] + CREEP_S / 2
    first = float(np.mean([v for t, v in seen if t < middle]))
    last = float(np.mean([v for t, v in seen if t >= middle]))
    held = taken.sheet.rows[-1].shown
    if max(abs(last - first), abs(first - held)) > CREEPS * abs(held - taken.zero):
        changed = value_text(last - held, line.meter, taken.sheet.unit)
        say(f"  It changed by {changed}; no cell creeps that much, so the load was changed: nothing was stored.")
        return
    taken.creep = (first, last - first)
    say(f"  It changed by {value_text(last - first, line.meter, taken.sheet.unit)}.")


def _checked(line: CellLine, scale: Scale, loads: KnownLoads, taken: _Taken, g: float, *, may_turn: bool) -> Checked:
    """Values as force, with what the file keeps of the line."""
    if len({sum(r.pieces) for r in taken.sheet.rows}) < 2:
        raise DataError("a check needs nothing and one known load at least", remedy="hang them one by one")
    known = np.array([sum(r.pieces) for r in taken.sheet.rows]) * g
    values = np.array([r.shown for r in taken.sheet.rows])
    slope = float(np.polyfit(values, known, 1)[0]) if np.ptp(values) else 0.0
    if slope == 0.0:
        raise DataError("the line says the same with and without load", remedy="is the right column taken (--column)?")
    turned = slope < 0
    if turned:
        _turn(line, may_turn=may_turn)
    counts, factor = scale.counts, -1.0 if turned and not line.meter.in_counts else 1.0
    if line.meter.in_counts:
        counts = _counts_line(line.meter, values, known)
        shown = [counts.force(line.meter.counts(v) or 0.0) for v in values]
        per = abs(counts.per_count_N)
    else:
        shown, per = [factor * float(v) for v in values], 1.0
        _refuse_other_cell(scale, slope * factor)
    rows = tuple(replace(r, shown=s) for r, s in zip(taken.sheet.rows, shown, strict=True))
    step = per * line.meter.step if counts else scale.resolution_N
    creep = None
    if taken.creep is not None:
        at = max(abs(taken.creep[0] - taken.zero) * per, 1e-6)
        sign = -1.0 if turned else 1.0
        creep = Creep(at_N=at, after_s=CREEP_S, change_N=sign * taken.creep[1] * per)
    told = any(len(r.pieces) > 1 for r in rows)
    if taken.noises:
        noise = float(np.median(taken.noises)) * per
        say(f"  Noise of a quarter of a second: {noise / FORCE['kg'] * 1000:.2g} g.")
    kept = _keep_line(
        replace_counts(scale, counts, step), line, turned=turned != line.meter.reversed and counts is None
    )
    return Checked(HungLoads(rows, loads, told), kept, creep)


def _turn(line: CellLine, *, may_turn: bool) -> None:
    what = "the numbers fall as the load grows: the cell is reversed"
    say("", f"  {what[:1].upper()}{what[1:]}.")
    if may_turn:
        return
    try:
        if yes("  Store the reversed sign in the scale's file?", default=False):
            return
    except EndOfInputError:
        pass
    raise DataError(what, where=line.listening.source.name, remedy="turn it round, or give --reversed to keep the sign")


def _counts_line(meter: Meter, values: np.ndarray, known: np.ndarray) -> CountsLine:
    """Newton of a count, so that nothing hanging is near zero."""
    counts = np.array([meter.counts(float(v)) or 0.0 for v in values])
    per, zero = np.polyfit(counts, known, 1)
    return CountsLine(zero_N=float(f"{zero:.7g}"), per_count_N=float(f"{per:.7g}"))


def _refuse_other_cell(scale: Scale, slope: float) -> None:
    if scale.counts is not None and abs(slope - 1) > OTHER_CELL:
        raise DataError(
            f"the file's newton for a count makes {1 / slope:.3g} times the known loads: another cell or converter?",
            where=f"scale {scale.id}",
            remedy="make a file of its own for it: bandcurve scale new NAME --kind load-cell",
        )


def replace_counts(scale: Scale, counts: CountsLine | None, step: float) -> Scale:
    """The scale with what a count is; its step is then that of the line."""
    return Scale.model_validate({**dict(scale), "counts": counts, "resolution_N": step})


def _keep_line(scale: Scale, line: CellLine, *, turned: bool) -> Scale:
    """The scale with the line's format, speed and way round in its free space."""
    form = line.listening.format
    if form is not None:
        scale = with_line(scale, form, line.listening.setting)
    return with_reversed(scale, turned=turned)
