"""`bandcurve record`: from an unopened band to kilos, led by questions; everything accepted is on disk at once."""

import os
import re
import shlex
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import DataError, FileError, UsageError

if TYPE_CHECKING:
    from calib.records import Method
    from calib.scale import Scale
    from calib.verbs.recorder import Pace, Recorder
    from calib.verbs.setup_talk import Given

METHODS = ("scale-in-line", "hung-weight", "anchor-on-scale")


def command(
    band: Annotated[
        str | None, typer.Argument(metavar="BAND", help="What you call the band: letters, digits, . _ -")
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Three lengths, one pull: a first answer in 3 minutes.")
    ] = False,
    resume: Annotated[
        Path | None, typer.Option("--resume", metavar="FILE", help="Go on with a recording that was cut off.")
    ] = None,
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="Folder for run and profile.")] = Path(),
    method: Annotated[
        str | None, typer.Option("--method", metavar="WAY", help="scale-in-line, hung-weight or anchor-on-scale.")
    ] = None,
    scale: Annotated[
        Path | None, typer.Option("--scale", metavar="FILE", help="The scale's file, with its checks.")
    ] = None,
    lengths: Annotated[
        str | None, typer.Option("--lengths", metavar="LIST", help="Lengths to measure: '1130 1200 1350 1500'.")
    ] = None,
    loads: Annotated[
        str | None, typer.Option("--loads", metavar="LIST", help="Plates to hang: '2.5 5 10 15 20'.")
    ] = None,
    holes: Annotated[
        str | None, typer.Option("--holes", metavar="PITCH", help="Set lengths by rack holes: their pitch, '50mm'.")
    ] = None,
    first_hole: Annotated[
        int, typer.Option("--first-hole", metavar="N", help="Hole the fixed pin sits in; 0 asks.", min=0, max=9999)
    ] = 0,
    flat: Annotated[str | None, typer.Option("--flat", metavar="LENGTH", help="Flat length, '1029mm'.")] = None,
    to: Annotated[str | None, typer.Option("--to", metavar="LENGTH", help="Longest length to plan.")] = None,
    cycles: Annotated[
        int | None, typer.Option("--cycles", metavar="N", help="How often out and back (2; quick: 1).", min=1, max=20)
    ] = None,
    dwell: Annotated[
        float | None,
        typer.Option("--dwell", metavar="S", help="Seconds to hold before a reading (10).", min=0, max=600),
    ] = None,
    move_time: Annotated[
        float, typer.Option("--move-time", metavar="S", help="Seconds to set the next length.", min=0, max=600)
    ] = 10.0,
    from_form: Annotated[
        bool, typer.Option("--from-form", help="Type in what was written on paper; no waiting.")
    ] = False,
    over_stretch: Annotated[
        bool, typer.Option("--over-stretch", help="Allow lengths above 3.0 times the flat length.")
    ] = False,
    no_countdown: Annotated[bool, typer.Option("--no-countdown", hidden=True)] = False,
    no_fit: Annotated[bool, typer.Option("--no-fit", help="Record only; fit later.")] = False,
) -> int:
    """Measure a band, led step by step, and get its pull in kilos.

    Nothing needs to be prepared. Stop when you like (Ctrl-C): what was accepted is in the file already.

    \b
    Examples:
      bandcurve record B07 --quick
      bandcurve record B07 --scale hook.scale.json
      bandcurve record B07 --method hung-weight --loads '5 10 20 30 40'
      bandcurve record --resume B07.run.csv
    """
    from calib.verbs.prompts import EndOfInputError, prepare, say
    from calib.verbs.recorder import Pace

    prepare()
    pace = Pace(_waits(no_countdown or from_form), move_time)
    recorder: Recorder | None = None
    with _hanging_up():
        try:
            if resume is not None:
                recorder = _resumed(resume, pace)
            else:
                given = _given(
                    band,
                    quick,
                    method,
                    scale,
                    lengths,
                    loads,
                    holes,
                    first_hole,
                    flat,
                    to,
                    cycles,
                    dwell,
                    from_form,
                    over_stretch,
                )
                recorder = _begun(given, out, pace)
            _conditioned(recorder)
            recorder.record()
        except KeyboardInterrupt:
            _say_where(recorder)
            return 130
        except EndOfInputError:
            if recorder is None or not _only_closing_left(recorder):
                _say_where(recorder)
                return 1
        say("", f"Recorded: {len(recorder.state.run.readings)} readings in {recorder.path}.")
        return 0 if no_fit else _kilos(recorder, out if resume is None else recorder.path.parent)


def _waits(told_not_to: bool) -> bool:
    from calib.verbs.live import can_wait

    return not told_not_to and can_wait()


def _given(
    band: str | None,
    quick: bool,
    method: str | None,
    scale: Path | None,
    lengths: str | None,
    loads: str | None,
    holes: str | None,
    first_hole: int,
    flat: str | None,
    to: str | None,
    cycles: int | None,
    dwell: float | None,
    from_form: bool,
    over_stretch: bool,
) -> "Given":
    """The options as answers."""
    from calib.identity import check_id
    from calib.verbs.prompts import ask
    from calib.verbs.setup_talk import Given

    _check_options({"--flat": flat, "--to": to, "--holes": holes, "--lengths": lengths, "--loads": loads})
    way = _way("hung-weight" if method is None and loads else method)
    return Given(
        band=check_id(band) if band else ask("What do you call the band (for example B07)? ", check_id),
        quick=quick,
        method=way,
        scale=_scale(scale),
        lengths=lengths,
        loads=loads,
        holes=holes,
        first_hole=first_hole,
        flat=flat,
        top=to,
        cycles=cycles,
        dwell_s=dwell,
        form=from_form,
        over_stretch=over_stretch,
    )


def _check_options(given: dict[str, str | None]) -> None:
    """Refuse a length or load that cannot be read, before anything is asked."""
    from calib.acquire.typed import parse_length
    from calib.acquire.typed_entry import clean
    from calib.verbs.setup_talk import listed

    for option, text in given.items():
        if text is None:
            continue
        parts = listed(text) if option in ("--lengths", "--loads") else [text]
        try:
            for part in parts or [text]:
                parse_length(re.sub(r"(kg|lbs?|N)$", "", part.strip()) if option == "--loads" else part, "mm")
        except DataError as error:
            raise UsageError(f"{option} {clean(text)[:40]!r}: {error.what}", remedy=error.remedy) from error


def _way(text: str | None) -> "Method | None":
    ways: dict[str, Method] = {
        "scale-in-line": "scale-in-line",
        "hung-weight": "hung-weight",
        "anchor-on-scale": "anchor-on-scale",
    }
    if text is None:
        return None
    if text not in ways:
        raise UsageError(f"--method {text[:40]!r} is not known", remedy=f"use one of {', '.join(METHODS)}")
    return ways[text]


def _scale(path: Path | None) -> "Scale | None":
    from calib.scale import load_scale

    return load_scale(path) if path else None


def _begun(given: "Given", out: Path, pace: "Pace") -> "Recorder":
    """A new recording, its head on disk."""
    from calib.acquire.recording import Recording
    from calib.verbs.prompts import say
    from calib.verbs.recorder import Recorder, free_name, new_writer
    from calib.verbs.setup_talk import set_up

    _check_place(out)
    state = Recording(set_up(given))
    path = free_name(out, given.band)
    recorder = Recorder(state, new_writer(path, state), path, pace, pace.clock())
    say("", f"Everything goes to {path}, row by row. Stop any time; go on with:", f"  {_resume_command(path)}")
    return recorder


def _conditioned(recorder: "Recorder") -> None:
    """The pulls before the first reading, where they are still to come; the head on disk then says so."""
    from dataclasses import replace

    from calib.verbs import live
    from calib.verbs.setup_talk import NOT_CONDITIONED, condition

    head = recorder.state.head
    if recorder.state.rows or not head.extensions.get(NOT_CONDITIONED):
        return
    head = condition(head, live.rest if recorder.pace.counts_down else _say_rest)
    recorder.begin_again(replace(recorder.state, head=head))


def _say_rest(seconds: float, why: str) -> None:
    from calib.verbs.prompts import say

    say(f"Now {why}, {seconds:g} s or more.")


def _check_place(out: Path) -> None:
    """Say at once that nothing can be written there, before anybody pulls a band."""
    remedy = "name another folder with --out"
    try:
        out.mkdir(parents=True, exist_ok=True)
        writable = os.access(out, os.W_OK)
    except OSError as error:
        raise FileError(f"cannot be made: {error.strerror}", where=str(out), remedy=remedy) from error
    if not writable:
        raise FileError("may not be written to", where=str(out), remedy=remedy)


def _resumed(path: Path, pace: "Pace") -> "Recorder":
    """A recording taken up where its file ends."""
    from calib.acquire.recording import Recording
    from calib.acquire.run_file import RunWriter
    from calib.verbs.prompts import say
    from calib.verbs.recorder import Recorder

    writer, run = RunWriter.resume(path)
    state = Recording.of(run)
    if not state.course.settings:
        raise DataError("holds no plan and no reading to go on from", where=str(path), remedy="begin a new one")
    last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
    now = pace.clock()
    started = min(run.head.started.timestamp(), now - last) if run.head.started else now - last
    say(f"{path}: {len(run.readings)} readings of band {run.head.band.id} so far; going on from there.")
    return Recorder(state, writer, path, pace, started)


def _resume_command(path: Path) -> str:
    return f"bandcurve record --resume {shlex.quote(str(path))}"


def _say_where(recorder: "Recorder | None") -> None:
    """After an interruption: what is kept, and how to go on."""
    from calib.verbs.prompts import say

    if recorder is None:
        say("", "Stopped before the first reading; nothing was recorded.")
        return
    count = len(recorder.state.run.readings)
    if not recorder.state.rows:
        safe = "What was said so far is"
    else:
        safe = "1 reading is" if count == 1 else f"{count} readings are"
    say("", f"Stopped. {safe} safe in {recorder.path}. Go on with:")
    say(f"  {_resume_command(recorder.path)}")


def _only_closing_left(recorder: "Recorder") -> bool:
    slot = recorder.state.slot
    return recorder.state.pending is None and (slot is None or slot.closing)


@contextmanager
def _hanging_up() -> Iterator[None]:
    """A lost terminal ends the questions like the end of input does."""
    from calib.verbs.prompts import EndOfInputError

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


def _kilos(recorder: "Recorder", out: Path) -> int:
    """Fit what was recorded and print it."""
    from calib.verbs.prompts import say

    recorder.writer.close()
    if bool(recorder.state.head.extensions.get("quick")):
        return _quick_kilos(recorder, out)
    say("Fitting ...")
    from calib.verbs.fit import command as fit

    return fit([recorder.path], out=out)


def _quick_kilos(recorder: "Recorder", out: Path) -> int:
    """The first answer: pull at the lengths measured, in the user's own terms."""
    from calib.verbs.first_answer import first_answer

    print(first_answer(recorder.path, out, recorder.state.course))
    return 0
