"""What the options of a recording said, and which of them cannot be read. Nothing is asked here."""

from collections.abc import Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.acquire.files.typed import parse_length
from calib.acquire.recording.typed_entry import clean
from calib.errors import BandcurveError, DataError, UsageError
from calib.frozen import dataclass
from calib.records import Method
from calib.use.ask.conversation import Talk
from calib.use.ask.measuring import BY_KEY, MEASURING
from calib.use.ask.question import Occasion

if TYPE_CHECKING:
    from calib.scale import Scale

METHODS: Mapping[str, str] = {"scale-in-line": "level", "hung-weight": "plates", "anchor-on-scale": "floor"}


@dataclass(frozen=True)
class Given:
    """What the options said; what they did not is asked for."""

    band: str = ""  # empty: asked for
    quick: bool = False
    scale: "Scale | None" = None
    scale_file: str | None = None  # where it was read from, to be remembered
    answers: Mapping[str, str] = field(default_factory=dict)  # key of a question: as typed behind its option
    top: str | None = None
    cycles: int | None = None
    dwell_s: float | None = None
    form: bool = False  # typed in from paper: done already, so no cautions, no warm-up
    box: bool = False  # for many bands alike
    over_stretch: bool = False
    until: dict[str, Any] | None = None  # readings chosen one by one until this is reached
    force_unit: str | None = None  # of the line of a load cell
    cell: dict[str, str | bool] | None = None  # what a run keeps of a load cell on a line; None: readings are typed

    @property
    def occasion(self) -> Occasion:
        """What is asked goes by it."""
        return "box" if self.box else "form" if self.form else "quick" if self.quick else "full"

    @property
    def hung(self) -> bool:
        """Whether the options say that plates are hung."""
        return self.answers.get("way") == "plates"

    def talk(self) -> Talk:
        """The talk, with what the options answered.

        Raises:
            UsageError: One of them cannot be read.
        """
        talk = Talk(self.occasion, self._of_scale())
        for question in MEASURING:
            if question.key in self.answers:
                try:
                    talk = talk.answered(question.key, self.answers[question.key])
                except DataError as error:
                    said = clean(self.answers[question.key])[:40]
                    raise UsageError(f"{question.option} {said!r}: {error.what}", remedy=error.remedy) from error
        if self.top is not None:
            _readable("--to", self.top)
        return Talk(talk.occasion, talk.answers)  # what an option said is not gone back to

    def _of_scale(self) -> dict[str, str]:
        """The answers that a scale's file has."""
        if self.scale is None:
            return {"force_unit": self.force_unit} if self.force_unit else {}
        unit = self.force_unit or self.scale.shown_unit
        file = {"scale_file": self.scale_file} if self.scale_file else {}
        return {"scale": self.scale.id} | file | ({"force_unit": unit} if unit else {})


def _readable(option: str, text: str) -> None:
    try:
        parse_length(text, "mm")
    except DataError as error:
        raise UsageError(f"{option} {clean(text)[:40]!r}: {error.what}", remedy=error.remedy) from error


def answered(options: Mapping[str, object]) -> dict[str, str]:
    """Options by the key of their question; what was not given is left out.

    Args:
        options: Key of a question: what was typed behind its option, None where it was not.

    Raises:
        UsageError: `--method` names no way to measure.
    """
    found = {key: str(value) for key, value in options.items() if value is not None and key in BY_KEY}
    way = found.get("way")
    if way is not None:
        if way not in METHODS:
            raise UsageError(f"--method {way[:40]!r} is not known", remedy=f"use one of {', '.join(METHODS)}")
        found["way"] = METHODS[way]
    elif "loads" in found:
        found["way"] = "plates"
    if "pitch" in found:
        found.setdefault("tape", "holes")
    return found


def method_of(way: str) -> Method:
    """How a run file names a way to measure."""
    named: dict[str, Method] = {"plates": "hung-weight", "floor": "anchor-on-scale"}
    return named.get(way, "scale-in-line")


def with_scale_of(given: Given, known: Mapping[str, Any]) -> Given:
    """The scale's file of last time, where it is still there and none was named."""
    from calib.scale import load_scale
    from calib.use.ask.memory import GEAR

    gear = known.get(GEAR)
    path = gear.get("scale_file") if isinstance(gear, dict) else None
    if given.scale is not None or given.hung or not isinstance(path, str) or "max" in given.answers:
        return given
    try:
        return replace(given, scale=load_scale(Path(path)), scale_file=path)
    except BandcurveError:
        return given
