"""One sitting of a recording: begun or resumed, interrupted or finished, fitted. The questions lie elsewhere."""

import os
import shlex
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from types import FrameType

from calib.acquire.files.run_file import RunWriter
from calib.acquire.recording.state import Recording
from calib.acquire.recording.typed_entry import shown
from calib.errors import DataError, FileError
from calib.identity import check_id
from calib.units import FORCE
from calib.verbs.talk.conditioning import NOT_CONDITIONED, condition
from calib.verbs.talk.given import Given
from calib.verbs.talk.recorder import Pace, Recorder, free_name, new_writer
from calib.verbs.talk.setup_talk import set_up
from calib.verbs.talk.until_talk import aim_of, chooser_for
from calib.verbs.terminal import live
from calib.verbs.terminal.prompts import EndOfInputError, ask, say


def session(begin: Callable[[], Recorder], *, fit: bool) -> int:
    """Record to the end or until interrupted.

    Args:
        begin: Gives the recorder, asking what it has to.
        fit: Whether to fit what was recorded and print it.

    Returns:
        Exit status.
    """
    recorder: Recorder | None = None
    with hanging_up():
        try:
            recorder = begin()
            _conditioned(recorder)
            recorder.record()
        except KeyboardInterrupt as stopped:
            _say_where(recorder, unkept=bool(stopped.args))
            return 130
        except EndOfInputError as stopped:
            if recorder is None or stopped.args or not _only_closing_left(recorder):
                _say_where(recorder, unkept=bool(stopped.args))
                return 1
        say("", f"Recorded: {len(recorder.state.run.readings)} readings in {recorder.path}.")
        return _kilos(recorder) if fit else 0


def begun(given: Given, out: Path, pace: Pace, options: str = "") -> Recorder:
    """A new recording, its head on disk.

    Args:
        given: What the options said.
        out: Folder for the run.
        pace: How fast it goes.
        options: To be given again when it is taken up.
    """
    band = check_id(given.band) if given.band else ask("What do you call the band (for example B07)? ", check_id)
    with place_for(out):
        state = Recording(set_up(replace(given, band=band)))
        if state.course.asked is not None:
            aim_of(state.run, state.course)  # what cannot be is said before anybody pulls a band
        path = free_name(out, band)
        writer, choose = new_writer(path, state), chooser_for(state)
    recorder = Recorder(state, writer, path, pace, pace.clock(), resume_options=options, choose=choose)
    say("", f"Everything goes to {path}, row by row. Stop any time; go on with:")
    say(f"  {_resume_command(path, options)}")
    return recorder


def resumed(path: Path, pace: Pace, *, at_port: bool = False) -> Recorder:
    """A recording taken up where its file ends; at a load cell's port the zero is taken anew by itself."""
    writer, run = RunWriter.resume(path)
    state = Recording.of(run)
    try:
        settings, choose = state.course.settings, chooser_for(state)
    except DataError as error:
        raise error.at(str(path)) from error
    if not settings:
        raise DataError("holds no plan and no reading to go on from", where=str(path), remedy="begin a new one")
    last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
    now = pace.clock()
    started = min(run.head.started.timestamp(), now - last) if run.head.started else now - last
    say(f"{path}: {len(run.readings)} readings of band {run.head.band.id} so far; going on from there.")
    slot = state.slot
    if (
        state.rows
        and slot is not None
        and slot.kind == "reading"
        and not (at_port or state.hung or state.course.on_paper)
    ):
        say("Was the scale off meanwhile? Then first, with the band slack: zero and what it shows, like zero 0.05")
    return Recorder(state, writer, path, pace, started, choose=choose)


def _conditioned(recorder: Recorder) -> None:
    """The pulls before the first reading, where they are still to come; the head on disk then says so."""
    head = recorder.state.head
    if recorder.state.rows or not head.extensions.get(NOT_CONDITIONED):
        return
    head = condition(head, live.rest if recorder.pace.counts_down else _say_rest)
    recorder.begin_again(replace(recorder.state, head=head))


def _say_rest(seconds: float, why: str) -> None:
    say(f"Now {why}, {seconds:g} s or more.")


def check_place(out: Path) -> None:
    """Say at once that nothing can be written there, before anybody pulls a band."""
    remedy = "name another folder with --out"
    try:
        out.mkdir(parents=True, exist_ok=True)
        writable = os.access(out, os.W_OK)
    except OSError as error:
        raise FileError(f"cannot be made: {error.strerror}", where=str(out), remedy=remedy) from error
    if not writable:
        raise FileError("may not be written to", where=str(out), remedy=remedy)


@contextmanager
def place_for(out: Path) -> Iterator[None]:
    """A folder to write to; what was made for it is taken away again where nothing came of it."""
    made = [folder for folder in (out, *out.parents) if not folder.exists()]
    check_place(out)
    try:
        yield
    except BaseException:
        for folder in made:
            with suppress(OSError):  # no longer empty: it is kept
                folder.rmdir()
        raise


def _resume_command(path: Path, options: str) -> str:
    return f"bandcurve record --resume {shlex.quote(str(path))}{options}"


def _say_where(recorder: Recorder | None, *, unkept: bool = False) -> None:
    """After an interruption: what is kept, and how to go on."""
    if recorder is None:
        say("", "Stopped before the first reading; nothing was recorded.")
        return
    count = len(recorder.state.run.readings)
    if not recorder.state.rows:
        safe = "What was said so far is"
    else:
        safe = "1 reading is" if count == 1 else f"{count} readings are"
    kept = "What stands above is not all" if unkept else f"{safe} safe"
    say("", f"Stopped. {kept} in {recorder.path}. Go on with:")
    say(f"  {_resume_command(recorder.path, recorder.resume_options)}")


def _only_closing_left(recorder: Recorder) -> bool:
    slot = recorder.state.slot
    return recorder.state.pending is None and (slot is None or slot.closing)


@contextmanager
def hanging_up() -> Iterator[None]:
    """A lost terminal ends the questions like the end of input does."""

    def gone(number: int, frame: FrameType | None) -> None:
        raise EndOfInputError

    if not hasattr(signal, "SIGHUP"):
        yield
        return
    before = signal.signal(signal.SIGHUP, gone)
    try:
        yield
    finally:
        signal.signal(signal.SIGHUP, before)


def _kilos(recorder: Recorder) -> int:
    """Fit what was recorded and print it."""
    recorder.writer.close()
    folder = recorder.path.parent
    if bool(recorder.state.head.extensions.get("quick")):
        from calib.verbs.talk.first_answer import first_answer

        print(first_answer(recorder.path, folder, recorder.state.course))
        return 0
    say("Fitting ...")
    from calib.verbs.fit import command as fit

    status = fit([recorder.path], out=folder, unit="lb" if recorder.state.course.force_unit == "lb" else "kg")
    if status == 0:
        _say_how_to_check(recorder)
    return status


def _say_how_to_check(recorder: Recorder) -> None:
    """A scale never checked is mostly what limits the kilos; its check serves what was recorded already."""
    scale, course = recorder.state.head.scale, recorder.state.course
    if scale is None or scale.check is not None or scale.correction is not None or course.capacity is None:
        return
    unit, file = course.force_unit, shlex.quote(str(recorder.path.parent / f"{scale.id}.scale.json"))
    step, most = (shown(x, unit, FORCE) for x in (scale.resolution, course.capacity))
    say("To narrow it, check the scale with known loads, now or later:")
    kind, port = ("--kind load-cell", f" --port {recorder.port}") if recorder.port else (f"--locks {scale.locks}", "")
    say(f"  bandcurve scale new {scale.id} {kind} --resolution {step}{unit} --capacity {most}{unit}")
    say(f"  bandcurve scale check {file}{port}", f"  bandcurve fit {shlex.quote(str(recorder.path))} --scale {file}")
