"""What is wrong with a line and what would fix it, each thing said once. Nothing is printed here."""

from calib.acquire.cell.baud import SETTINGS
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.stream_figures import StreamFigures
from calib.errors import DataError
from calib.use.report.layout import clean

SILENT = 10.0  # s without a byte until that is said: a board may take long to start
MISFITS = 20  # lines, and no reading, until a format that was given is doubted
FEW = 10  # lines that are needed to see what they hold
STRANGE = 0.2  # share of lines that are no reading, from which on that is said


class LineNews:
    """What there is to say about a stream, each thing once."""

    def __init__(self, listening: Listening) -> None:
        self.figures = StreamFigures()
        self._listening = listening
        self._said: set[str] = set()
        self._sharer = ""
        self._look_again_s = 0.0

    def is_over(self, lasting: float | None) -> bool:
        """Whether the stream has ended, or has lasted as long as it should. [s]"""
        return self._listening.ended or (lasting is not None and self._listening.now() >= lasting)

    def unsaid(self) -> list[str]:
        """What has not been said yet."""
        new = [line for line in self._whole_news() if line not in self._said]
        self._said.update(new)
        return new

    def _whole_news(self) -> list[str]:
        listening = self._listening
        said = []
        if listening.setting:
            said.append(f"Speed: {listening.setting}.")
        if listening.format and self.figures.last:
            said.append(f"Format: {listening.format.described()}.")
        if trouble := self.trouble():
            said.append(trouble)
        return said

    def trouble(self) -> str:
        """What is wrong at this moment, "" where nothing is."""
        listening = self._listening
        if listening.away:
            why = clean(listening.away)
            return f"{why[:1].upper()}{why[1:]}; waiting for it to come back. Then take a new zero."
        last = listening.last_data_s
        if not listening.ended and listening.now() - (last or 0.0) > SILENT:
            since = f"{SILENT:.0f} s" + ("" if last is None else ", though it did before")
            return f"Nothing has arrived for {since}: is the board powered, and does its program print?"
        if listening.search.tried:
            return f"At {listening.search.tried[-1]} nothing can be read; trying {listening.search.setting}."
        if self.figures.last is None and listening.setting and listening.search.unreadable:
            return f"What comes at {listening.setting} is not text: leave out --baud to let the speed be found."
        if self.figures.last is None and listening.format and self.figures.counts["unknown"] >= MISFITS:
            return f"No line fits the format given ({listening.format.described()}): leave it out to let it be found."
        if self.figures.breaks_often:
            if "another program" in listening.last_gap:
                why = clean(listening.last_gap)
                return f"The line keeps breaking off: {why}; close that program."
            return "The board keeps restarting: the supply sags, or a cable is loose."
        if listening.question and listening.question.waits:
            return f"{listening.question.text}."
        if listening.complaint:
            return f"It sends no readings, only: {clean(listening.complaint, 60)}"
        if self.figures.rubbish + self.figures.faults > STRANGE:
            return self._rubbish()
        return ""

    def _rubbish(self) -> str:
        """Why many lines are no readings; who else reads is looked up now and then."""
        now = self._listening.now()
        if now >= self._look_again_s:
            self._look_again_s = now + SILENT
            self._sharer = self._listening.source.shared_with()
        if self._sharer:
            return f"Many lines are torn: {clean(self._sharer)} has the port open too; close that program."
        fault = self.figures.fault
        if fault and self.figures.faults > self.figures.rubbish:
            named = clean(fault.note or fault.raw.strip("# \t"), 60)
            return f"Many lines are faults: {named}. Check converter, cell and wires; speed and format are right."
        return "Many lines are not readings: a loose wire, noise, or a wrong speed or format (--baud, --format)."

    def give_up(self, *, ended: bool = False) -> None:
        """Raise what waiting cannot fix.

        Raises:
            DataError: Nothing readable at any speed; or a question only the user can answer; or no reading at all.
        """
        listening = self._listening
        name = listening.source.name
        if listening.search.exhausted:
            tried = ", ".join(str(setting.baud) for setting in SETTINGS)
            remedy = "give its speed with --baud, and check the common ground"
            raise DataError(f"nothing can be read at any usual speed ({tried})", where=name, remedy=remedy)
        if listening.question and (ended or not listening.question.waits):
            text, _, remedy = listening.question.text.partition("; ")
            raise DataError(text, where=name, remedy=remedy)
        if ended and not self.figures.counts["reading"]:
            raise self._without_reading().placed_at(name)

    def _without_reading(self) -> DataError:
        newest, lines = self.figures.newest, sum(self.figures.counts.values())
        complaint = self._listening.complaint
        if not complaint and newest is not None and newest.kind in ("overload", "fault"):
            complaint = newest.note or newest.raw
        if complaint:
            remedy = "the board itself reports it: check converter, cell and wires"
            return DataError(f"no readings came, only: {clean(complaint, 60)}", remedy=remedy)
        if 0 < lines < FEW and not self._listening.search.unreadable:
            what = f"too few lines arrived to tell what they mean: {lines}"
            return DataError(what, remedy="about ten are needed; the first may be incomplete")
        what = "nothing came" if self._listening.last_data_s is None else "what arrived held no reading"
        return DataError(what, remedy="is it the right one? --baud, --column and --format say what the lines are")
