"""The talk before a recording, from the first question to the summary: it makes a run's head.

What is asked stands in `use/ask/measuring`. Here are the terminal, the summary, and the folder's memory: gear is
offered as it was last time, and a talk that was broken off goes on where it stopped.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from secrets import token_hex
from typing import Any

from calib.acquire.recording.typed_entry import clean
from calib.errors import BandcurveError, DataError
from calib.plate_set import save_plates
from calib.records import RunHead
from calib.stamp import here_and_now
from calib.use.ask import cautions, memory
from calib.use.ask.conversation import Talk
from calib.use.ask.gear import gear_of
from calib.use.ask.given import Given, with_scale_of
from calib.use.ask.head import head_of, planned_words
from calib.use.ask.measuring import BY_KEY
from calib.use.ask.readers import plates_owned
from calib.use.ask.warm_up import stop_words
from calib.verbs.talk.asking import ask_one, ask_open, explained, prompt_of
from calib.verbs.terminal.prompts import BACK, HELP, HOW, BackError, ask_line, say, sentence, wait_for_enter

SAID = (cautions.TITLE, *(f"  - {words}" for words in cautions.CAUTIONS))
YES, NO = ("y", "yes"), ("n", "no")


def be_careful() -> None:
    """The cautions before anybody pulls a band."""
    say(*SAID)
    with suppress(BackError):  # there is nothing before it
        wait_for_enter("Press Enter to confirm all of this: ", "Ctrl-C quits; bandcurve explain measuring says more.")


@dataclass
class SetUp:
    """One talk with the folder it is remembered in."""

    given: Given
    folder: Path | None  # None: nothing is remembered
    talk: Talk | None = None

    def head(self) -> RunHead:
        """Ask what is to be asked, and make the head of it.

        Raises:
            EndOfInputError: There are no more lines; what was answered is kept as a draft.
        """
        talk = self.talk or self._first()
        if talk.still_open and not talk.recalled:
            say(HOW)
        while True:
            talk = ask_open(talk, self._draft, _one_open)
            talk, head = self._summary(talk)
            if head is not None:
                self.talk = talk
                self._keep_plates(talk)
                self._keep(memory.after(talk, self.given.band, at_cell=self.given.cell is not None, box=self.given.box))
                return head

    def _first(self) -> Talk:
        """The talk as options, memory and a draft leave it."""
        known = self._known()
        self.given = with_scale_of(self.given, known)
        told, band = self.given.talk(), self.given.band
        told = replace(told, answers={"plates_id": f"plates-{token_hex(3)}", **told.answers})
        draft = memory.drafted(known, told, band)
        if draft is not None:
            say(f"Continuing with your earlier answers ({draft[1]}); back changes it.")
            return draft[0]
        return memory.recalled(known, told, band)

    def _known(self) -> Mapping[str, Any]:
        from calib.profile.store.memory import recall

        if self.folder is None or not self.folder.is_dir():
            return {}
        return {key: found.value for key, found in recall(self.folder).items()}

    def _draft(self, talk: Talk) -> None:
        now = datetime.now().strftime("%Y-%m-%d %H:%M")
        self._keep(memory.draft(talk, self.given.band, now))

    def _keep(self, values: Mapping[str, Any]) -> None:
        """Memory is a convenience: where it cannot be written, the measuring goes on."""
        from calib.profile.store.memory import remember

        if self.folder is None:
            return
        try:
            remember(self.folder, values)
        except (BandcurveError, OSError):
            self.folder = None

    def _keep_plates(self, talk: Talk) -> None:
        """The plates in a file of their own, for whoever weighs them or checks a scale with them."""
        owned = plates_owned(talk.answers) if talk.answers.get("way") == "plates" else None
        if owned is None or self.folder is None:
            return
        path = self.folder / f"{owned.id}.plates.json"
        try:
            save_plates(owned, path)
        except (BandcurveError, OSError) as error:
            say(f"  The plates are not kept in a file: {error}.")
            return
        say(f"Your plates are kept in {path}: chalk their names on them ({', '.join(p.id for p in owned.pieces)}).")

    def _summary(self, talk: Talk) -> tuple[Talk, RunHead | None]:
        """Show what was answered; the head where it is taken as it is, else the talk with what was changed."""
        made = self._made(talk)
        self._show(talk, made)
        while True:
            prompt = self._last_prompt(talk)
            try:
                typed = clean(ask_line(prompt))
                if typed.lower() in HELP:
                    say(
                        "  Type a letter to change that line, back for the last question, n to answer everything again."
                    )
                    say(*(explained(talk, talk.still_open[0]) if talk.still_open else ()))
                    continue
                return self._after(talk, typed, made)
            except BackError:
                if not talk.asked:
                    say("  This is the first question; type a letter to change a line.")
                    continue
                return talk.before_last_answer(), None
            except DataError as error:
                say(f"  {sentence(error)}")

    def _made(self, talk: Talk) -> "RunHead | DataError | None":
        """The head, or why there is none; nothing while something is open."""
        if talk.still_open:
            return None
        try:
            head, self.said = head_of(talk.answers, self.given, here_and_now())
        except DataError as error:
            return error
        return head

    def _show(self, talk: Talk, made: "RunHead | DataError | None") -> None:
        last_time = ", as last time" if talk.recalled else ""
        what = "a box of bands" if self.given.box else f"band {self.given.band}"
        scale = f", scale {self.given.scale.id}" if self.given.scale is not None else ""
        say("", f"{what[:1].upper()}{what[1:]}{scale}{last_time}:")
        lengths = planned_words(made, gear_of(made)) if isinstance(made, RunHead) else ""
        for line in talk.lines:
            words = lengths or line.words if line.question.key == "lengths" else line.words
            stop = stop_words(made) if isinstance(made, RunHead) and line.question.key == "max" else ""
            words += f" (stop at {stop})" if stop else ""
            open_now = " " if line.question in talk.still_open else line.letter
            say(f"  {open_now}  {line.question.label:<16}  {words}")
        if isinstance(made, RunHead):
            say(*(f"Note: {line}." for line in self.said))
        if not (self.given.form or self.given.box):
            say(*SAID)
        if isinstance(made, DataError):
            say(f"This cannot be measured: {sentence(made)}")

    def _last_prompt(self, talk: Talk) -> str:
        if talk.still_open:
            question = talk.still_open[0]
            if question.choices:
                return f"{prompt_of(talk, question).rstrip(' :')}; or a letter to change its line: "
            bare = talk.prompt(question).rstrip(": ").replace("of the band", f"of {self.given.band}", 1)
            return f"{bare}; or a letter to change its line: "
        begin = "Enter to begin" if self.given.form else "Enter to go on" if self.given.box else "Enter to confirm"
        return f"{begin}, or a letter to change its line: "

    def _after(self, talk: Talk, typed: str, made: "RunHead | DataError | None") -> tuple[Talk, RunHead | None]:
        """What follows from what was typed below the summary."""
        if typed.lower() == BACK:
            raise BackError
        if typed.lower() in NO:
            return Talk(talk.occasion, self.given.talk().answers), None
        line = next((line for line in talk.lines if line.letter == typed.lower()), None)
        if line is not None and typed.lower() not in YES:
            changed = self._changed(talk, line.question.key)
            return changed, None
        if talk.still_open:
            talk = talk.answered(talk.still_open[0].key, typed)
            self._draft(talk)
            made = self._made(talk)
            if isinstance(made, RunHead):
                say(f"Lengths: {planned_words(made, gear_of(made))}.", *(f"Note: {x}." for x in self.said))
        elif typed and typed.lower() not in YES:
            raise DataError(f"{typed[:20]!r} is not the letter of a line", remedy="type its letter, or Enter to go on")
        if isinstance(made, DataError):
            raise made
        return talk, made

    def _changed(self, talk: Talk, key: str) -> Talk:
        """The talk with one line changed; asked again where nothing can be measured with it."""
        could = not isinstance(self._made(talk), DataError)
        while True:
            try:
                changed = ask_one(talk, BY_KEY[key])
            except BackError:
                return talk
            made = self._made(changed)
            if isinstance(made, DataError) and could:
                say(f"  {sentence(made)}")
                continue
            self._draft(changed)
            return changed


def _one_open(talk: Talk) -> bool:
    """The gear is known but for one thing: that is asked below the summary."""
    return talk.recalled and len(talk.still_open) == 1


def describe(given: Given, folder: Path | None) -> RunHead:
    """Gear, a band, plan and procedure for many bands alike.

    Args:
        given: What options said.
        folder: Which remembers the gear; None where nothing is.
    """
    return SetUp(given, folder).head()
