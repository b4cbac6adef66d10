"""`bandcurve batch record`: walks through the bands of a batch folder, in any order, as often as it takes."""

import shlex
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import DataError
from calib.stamp import here_and_now
from calib.verbs.terminal import typer_later as typer

if TYPE_CHECKING:
    from calib.acquire.recording.batch_plan import BandToMeasure
    from calib.records import RunHead
    from calib.verbs.talk.recorder import Pace

STOP = frozenset({"stop", "q", "quit", "exit"})
REST_S = 60.0  # after the conditioning of a band that is measured in full


def command(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Made by: bandcurve batch new.")],
    move_time: Annotated[
        float, typer.Option("--move-time", metavar="S", help="Seconds to set the next length.", min=0, max=600)
    ] = 10.0,
    no_countdown: Annotated[bool, typer.Option("--no-countdown", hidden=True)] = False,
) -> int:
    """Measure the bands of a batch, one after the other.

    Press Enter for the next band, or type the name or number of another. Stop when you like (Ctrl-C) and come back with
    the same command: everything accepted is already on file.

    \b
    Example:
      bandcurve batch record box
    """
    from calib.verbs.talk.record_session import hanging_up
    from calib.verbs.talk.recorder import Pace
    from calib.verbs.talk.setup_talk import be_careful
    from calib.verbs.terminal.live import can_wait
    from calib.verbs.terminal.prompts import HOW, BackError, EndOfInputError, prepare, say

    prepare()
    pace = Pace(can_wait() and not no_countdown, move_time)
    bands = _bands(folder)
    again = f"  bandcurve batch record {shlex.quote(str(folder))}"
    with hanging_up():
        try:
            all_done = all(b.state == "done" for b in bands)
            chosen = _again(bands) if all_done else None
            if chosen or not all_done:
                be_careful()
                say(HOW)
            while chosen := chosen or _which(bands):
                with suppress(BackError):  # another band after all
                    _measure(folder, chosen, bands, pace)
                chosen, bands = None, _bands(folder)
        except KeyboardInterrupt as stopped:
            say("", f"Stopped; {_safe(stopped)}. Continue with:", again)
            return 130
        except EndOfInputError as stopped:
            say("", f"No more input; {_safe(stopped)}. Continue with:", again)
            return 1
    return _end(_bands(folder), folder, again)


def _safe(stopped: BaseException) -> str:
    """Whether everything accepted is on the disk."""
    return "the readings above are not on disk" if stopped.args else "every accepted reading is in its file"


def _bands(folder: Path) -> "list[BandToMeasure]":
    """The bands of a folder, each by its latest run; a file that cannot be read is said, and passed over."""
    from calib.use.bands.box_folder import bands_to_measure
    from calib.verbs.terminal.prompts import say

    if not folder.is_dir():
        raise DataError("is not a folder", where=str(folder), remedy="make one with: bandcurve batch new")
    found, said = bands_to_measure(folder)
    say(*(f"  {words}." for words in said))
    if not found:
        raise DataError("holds no band to measure", where=str(folder), remedy="make one with: bandcurve batch new")
    return found


def _which(bands: "Sequence[BandToMeasure]") -> str | None:
    """Ask for the band that comes next; None to stop, or where all are done."""
    from calib.acquire.recording.batch_plan import next_band, seconds_left
    from calib.verbs.terminal.prompts import ask, say

    upcoming = next_band(bands)
    done = sum(b.state == "done" for b in bands)
    if upcoming is None:
        return None
    say("", f"{done} of {len(bands)} bands done; about {minutes(seconds_left(bands))} left.")
    begun = "begun, " if upcoming.state == "begun" else ""
    kind = "in full" if upcoming.full else "three lengths"
    prompt = f"Next band [{upcoming.id}, {begun}{kind}]: "
    return ask(prompt, lambda text: _chosen(text, bands), empty=upcoming.id) or None


def _again(bands: "Sequence[BandToMeasure]") -> str | None:
    """All are done: ask for one to be measured once more; None where that is not wanted."""
    from calib.verbs.terminal.prompts import EndOfInputError, ask, say

    say(f"All {len(bands)} bands are measured.")
    try:
        return (
            ask(
                f"Measure one of them again in full? Type for example {bands[-1].id} full (Enter: none): ",
                lambda t: _chosen(t, bands),
                empty="",
            )
            or None
        )
    except EndOfInputError:
        return None


def _chosen(text: str, bands: "Sequence[BandToMeasure]") -> str:
    """The band somebody typed, with `full` behind it; empty to stop.

    Raises:
        DataError: No band can be told from it; or the list was asked for, and has been shown.
    """
    from calib.acquire.recording.batch_plan import find
    from calib.verbs.terminal.prompts import say

    word, _, rest = text.partition(" ")
    if word.lower() in STOP:
        return ""
    if word.lower() in {"list", "help", "?"}:
        say(*(f"  {b.id}  {'in full' if b.full else 'three lengths'}, {_words(b)}" for b in bands))
        example = bands[-1].id
        raise DataError(f"type a name or number ({example} full: that one in full), Enter for the next, or stop")
    chosen = find(bands, word)
    if rest and rest.lower() != "full":
        raise DataError(f"{rest[:20]!a} is not known", remedy=f"type {chosen.id}, or: {chosen.id} full")
    if rest and chosen.state == "begun" and not chosen.full:
        raise DataError(
            f"{chosen.id} is already started at three lengths", remedy=f"finish these first; then: {chosen.id} full"
        )
    if chosen.state == "done" and not rest:
        raise DataError(f"{chosen.id} is measured", remedy=f"again in full: {chosen.id} full")
    return f"{chosen.id} {rest}".strip()


def _words(band: "BandToMeasure") -> str:
    return f"{band.state}, {len(band.run.readings)} of {band.wanted} readings"


def _measure(folder: Path, chosen: str, bands: "Sequence[BandToMeasure]", pace: "Pace") -> None:
    """One band, from the tape to the last reading."""
    from calib.acquire.files.run_file import RunWriter
    from calib.acquire.recording.batch_plan import UNTAPED
    from calib.acquire.recording.new_file import free_name, new_writer
    from calib.acquire.recording.state import Recording
    from calib.verbs.talk.recorder import Recorder
    from calib.verbs.terminal.prompts import say

    name, _, how = chosen.partition(" ")
    band = next(b for b in bands if b.id == name)
    path = folder / band.run.name
    if band.state == "done":
        path = free_name(folder, band.id)
        new_writer(path, Recording(_once_more(band, bands))).close()
    writer, run = RunWriter.resume(path)
    state = Recording.from_run(run)
    last = max((row.at_s or 0.0 for row in run.rows), default=0.0)
    recorder = Recorder(state, writer, path, pace, pace.clock() - last)
    try:
        if run.head.extensions.get(UNTAPED):
            head = _in_full(run.head, bands) if how and not band.full else run.head
            recorder.begin_again(replace(state, head=_in_hand(head, pace)))
        else:
            say("", f"Band {band.id} continues. Is this the band on the hooks?")
        recorder.record()
    finally:
        recorder.writer.close()


def _in_full(head: "RunHead", bands: "Sequence[BandToMeasure]") -> "RunHead":
    """A head to be measured as the bands in full are."""
    from calib.acquire.recording.batch_plan import in_full
    from calib.acquire.recording.course import course_of

    like = next((b for b in bands if b.full), None)
    return head if like is None else in_full(head, course_of(like.run.head, ()))


def _once_more(band: "BandToMeasure", bands: "Sequence[BandToMeasure]") -> "RunHead":
    """The head of another run of a band: the same gear and tape, in full, with today's temperature."""
    from calib.acquire.recording.batch_plan import UNTAPED
    from calib.verbs.talk.procedure_talk import ask_temperature
    from calib.verbs.terminal.prompts import say

    say("", f"Band {band.id} again, in full, with the same scale and tape.")
    head = band.run.head if band.full else _in_full(band.run.head, bands)
    procedure = replace(head.procedure, temperature=ask_temperature())
    extensions = head.extensions | {UNTAPED: True}
    started = here_and_now()
    return replace(head, procedure=procedure, extensions=extensions, started=started)


def _in_hand(head: "RunHead", pace: "Pace") -> "RunHead":
    """Conditioned, taped and weighed: the head of a band as it stays."""
    from calib.acquire.recording.course import course_of
    from calib.use.ask.box_band import in_hand, warm_up_words
    from calib.use.ask.gear import gear_of
    from calib.verbs.talk.band_talk import ask_mass, flat_of_one
    from calib.verbs.terminal import live
    from calib.verbs.terminal.prompts import lead, say, wait_for_enter

    say("", warm_up_words(head))
    wait_for_enter(
        "Enter when done: ", "A rested band is stiffer for its first pulls. Type back to choose another band."
    )
    if course_of(head, ()).way_back and pace.counts_down:
        live.count_down_pause(REST_S, "let the band rest")
    gear, nominal = gear_of(head), head.band.flat_length
    flat, mass = lead(lambda: (flat_of_one(gear, nominal), ask_mass()), how="")
    return in_hand(head, flat, mass, here_and_now())


def _end(bands: "Sequence[BandToMeasure]", folder: Path, again: str) -> int:
    from calib.verbs.terminal.prompts import say

    left = [b.id for b in bands if b.state != "done"]
    if left:
        verb = "is" if len(left) == 1 else "are"
        say("", f"{len(left)} of {len(bands)} bands {verb} still to do. Continue with:", again)
    else:
        say("", f"All {len(bands)} bands are measured. Fit their curves:")
    unit = " --unit lb" if any(b.run.force_unit == "lb" for b in bands) else ""
    say(f"  bandcurve batch fit {shlex.quote(str(folder))}{unit}")
    return 0


def minutes(seconds: float) -> str:
    """A stretch of time in words.

    >>> minutes(90), minutes(5400)
    ('2 min', '1 h 30 min')
    """
    whole = max(1, round(seconds / 60))
    return f"{whole // 60} h {whole % 60:02d} min" if whole >= 60 else f"{whole} min"
