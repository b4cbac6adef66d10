"""One sitting of a recording: begun or resumed, interrupted or finished, fitted. The questions lie elsewhere."""

import os
import shlex
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from types import FrameType

from calib.acquire.files.run_file import RunWriter
from calib.acquire.recording.new_file import free_name, new_writer
from calib.acquire.recording.state import Recording
from calib.errors import DataError, FileError
from calib.identity import check_id
from calib.records import RunHead
from calib.safe_write import new_folder
from calib.use.ask.gear import gear_of
from calib.use.ask.given import Given
from calib.use.ask.head import NOT_CONDITIONED
from calib.use.ask.until import aim_of, chooser_for
from calib.use.ask.warm_up import warm_up_words
from calib.use.bands.calibrate import carrying, todays_quick_look
from calib.verbs.talk.conditioning import condition
from calib.verbs.talk.recorder import Pace, Recorder
from calib.verbs.talk.setup_talk import SetUp
from calib.verbs.terminal.prompts import BackError, EndOfInputError, ask, say


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
            _measured(recorder)
        except KeyboardInterrupt as stopped:
            _say_where(recorder, unkept=bool(stopped.args))
            return 130
        except EndOfInputError as stopped:
            if recorder is None or stopped.args or not _only_closing_left(recorder):
                _say_where(recorder, unkept=bool(stopped.args))
                if recorder is None:
                    raise  # the sentence about the question that was left open follows
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
    band = check_id(given.band) if given.band else ask("A name for the band (e.g. B07): ", check_id)
    with place_for(out):
        talk = SetUp(replace(given, band=band), out)
        state = Recording(_with_quick_look(talk.head(), out))
        if state.course.asked is not None:
            aim_of(state.run, state.course)  # what cannot be is said before anybody pulls a band
        path = free_name(out, band)
        writer, choose = new_writer(path, state), chooser_for(state)
    recorder = Recorder(state, writer, path, pace, pace.clock(), resume_options=options, choose=choose)
    recorder.set_up = lambda: _with_quick_look(talk.head(), out)
    say("", f"Every reading goes straight to {path}. Stop any time with Ctrl-C; continue with:")
    say(f"  {_resume_command(path, options)}")
    return recorder


def resumed(path: Path, pace: Pace, *, at_port: bool = False) -> Recorder:
    """A recording taken up where its file ends; at a load cell's port the zero is taken again by itself."""
    writer, run = RunWriter.resume(path)
    state = Recording.from_run(run)
    try:
        settings, choose = state.course.settings, chooser_for(state)
    except DataError as error:
        raise error.placed_at(str(path)) from error
    if not settings:
        raise DataError(
            "holds neither a plan nor a reading to continue from", where=str(path), remedy="start a new one"
        )
    last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
    now = pace.clock()
    started = min(run.head.started.timestamp(), now - last) if run.head.started else now - last
    say(_continuing(state))
    slot = state.slot
    if (
        state.rows
        and slot is not None
        and slot.kind == "reading"
        and not (at_port or state.hung or state.course.on_paper)
    ):
        say(*_back_to(state))
        say("Scale switched off since then? With the band slack, type: zero 0.05 (whatever it shows).")
    return Recorder(state, writer, path, pace, started, choose=choose)


def _with_quick_look(head: RunHead, folder: Path) -> RunHead:
    """The head of a full run, with the name of today's quick look of the same band: it is fitted with it."""
    before = todays_quick_look(head, folder)
    if before is None:
        return head
    say(f"The {len(before.readings)} readings of today's quick look ({before.name}) are included.")
    return carrying(head, before)


def _continuing(state: Recording) -> str:
    """Where a recording stands that is taken up."""
    done, name = len(state.run.readings), state.head.band.id
    planned = sum(slot.kind == "reading" for slot in state.slots)
    of = "" if state.course.asked is not None else f" of {planned}"
    plural = "" if done == 1 and not of else "s"
    return f"Band {name}: {done}{of} reading{plural} done. Continuing at reading {done + 1}."


def _back_to(state: Recording) -> tuple[str, ...]:
    """How to come to a length of the unloading branch with a band that hangs slack."""
    slot = state.slot
    if slot is None or slot.branch != "unloading" or slot.setting is None:
        return ()
    gear = gear_of(state.head)
    top = max((r.length or 0.0 for r in state.run.readings if r.cycle == slot.cycle), default=state.course.settings[-1])
    return (
        f"First pull out to {gear.place(top)} once, then back to {gear.place(slot.setting)} without going shorter.",
    )


def _measured(recorder: Recorder) -> None:
    """Warmed up and measured; `back` before the first reading leads to the answers again."""
    while True:
        try:
            _conditioned(recorder)
            recorder.record()
        except BackError:
            recorder.begin_again(Recording(_head_again(recorder)))
            continue
        return


def _head_again(recorder: Recorder) -> RunHead:
    if recorder.set_up is None:  # taken up from its file: there are no answers to go back to
        say("  These answers are in the file now; to change them, start a new recording.")
        return recorder.state.head
    return recorder.set_up()


def _conditioned(recorder: Recorder) -> None:
    """The pulls before the first reading, where they are still to come; the head on disk then says so."""
    head = recorder.state.head
    if recorder.state.rows:
        return
    if head.extensions.get(NOT_CONDITIONED):
        recorder.begin_again(replace(recorder.state, head=condition(head)))
    elif head.extensions.get("quick"):
        say("", *warm_up_words(head))  # taken up before its first row: nobody knows whether it was warm


def check_place(out: Path) -> None:
    """Say at once that nothing can be written there, before anybody pulls a band."""
    if not os.access(out, os.W_OK):
        raise FileError("may not be written to", where=str(out), remedy="name another folder with --out")


@contextmanager
def place_for(out: Path) -> Iterator[None]:
    """A folder to write to; what was made for it is taken away again where nothing came of it."""
    with new_folder(out):
        check_place(out)
        yield


def _resume_command(path: Path, options: str) -> str:
    return f"bandcurve record --resume {shlex.quote(str(path))}{options}"


def _say_where(recorder: Recorder | None, *, unkept: bool = False) -> None:
    """After an interruption: what is kept, and how to go on."""
    if recorder is None:
        say("", "Stopped before the first reading; nothing was recorded. Your answers are kept for next time.")
        return
    count = len(recorder.state.run.readings)
    safe = "1 reading is" if count == 1 else f"{count} readings are" if count else "No readings yet; your answers are"
    kept = "Not everything above is" if unkept else f"{safe} safe"
    say("", f"Stopped. {kept} in {recorder.path}. Continue with:")
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
    from calib.verbs.talk.recorded_answer import recorded_answer

    recorder.writer.close()
    print(recorded_answer(recorder.path, recorder.state, recorder.port))
    return 0
