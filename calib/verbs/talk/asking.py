"""The questions of `use/ask` at a terminal: one at a time, with `?` for help and `back` for the one before."""

from collections.abc import Callable, Mapping

from calib.acquire.recording.typed_entry import clean
from calib.errors import DataError
from calib.use.ask.conversation import Talk
from calib.use.ask.measuring import BY_KEY
from calib.use.ask.question import Question
from calib.use.ask.readers import flat as read_flat
from calib.verbs.terminal.prompts import BACK, HELP, BackError, ask, ask_line, say, sentence


def ask_open(talk: Talk, save: Callable[[Talk], None], until: Callable[[Talk], bool] = lambda talk: False) -> Talk:
    """Ask what is still open.

    Args:
        talk: So far.
        save: Keeps the talk after each answer.
        until: Says when enough was asked, though something is still open.
    """
    while talk.still_open and not until(talk):
        try:
            talk = ask_one(talk, talk.still_open[0])
        except BackError:
            if not talk.asked:
                say("  This is the first question.")
            talk = talk.before_last_answer()
            continue
        save(talk)
    return talk


def ask_one(talk: Talk, question: Question) -> Talk:
    """Ask one question until its answer can be read.

    Raises:
        BackError: `back` was typed.
        EndOfInputError: There are no more lines.
    """
    now = talk.answers.get(question.key, "")
    prompt = prompt_of(talk, question)
    while True:
        typed = clean(ask_line(prompt))
        if typed.lower() == BACK:
            raise BackError
        if typed.lower() in HELP:
            say(*explained(talk, question))
            continue
        try:
            return talk.answered(question.key, typed or now)
        except DataError as error:
            say(f"  {sentence(error)}")


def explained(talk: Talk, question: Question) -> tuple[str, ...]:
    """What `?` says of a question."""
    return (*(f"  {line}" for line in question.help), *(f"  {line}" for line in question.sketch))


def prompt_of(talk: Talk, question: Question) -> str:
    """How a question is asked at a terminal: its choices a line each, and what Enter says."""
    said, now = talk.prompt(question), talk.answers.get(question.key, "")
    if question.choices:
        values = [c.value for c in question.choices]
        default = values.index(now or question.default or values[0]) + 1
        lines = [f"  {i + 1}  {c.words}{': ' + c.more if c.more else ''}" for i, c in enumerate(question.choices)]
        return "\n".join([said, *lines, f"Which? [{default}]: "])
    enter = now or question.default or (f"Enter: {question.unknown}" if question.unknown else "")
    bare = said.rstrip(" :")
    return f"{bare} [{enter}]: " if enter else f"{bare}: "


def ask_flat_again(before: str, answers: Mapping[str, str]) -> str:
    """The flat length after the pulls, or of one band of a box; as it is kept.

    Raises:
        BackError: `back` was typed.
    """
    question = BY_KEY["flat"]
    while True:
        typed = clean(ask_line(f"Measure the flat length again [{before}, Enter = same]: "))
        if typed.lower() == BACK:
            raise BackError
        if typed.lower() in HELP:
            say(*explained(Talk("full"), question))
            continue
        try:
            return read_flat(typed, answers) if typed else before
        except DataError as error:
            say(f"  {sentence(error)}")


def ask_alone(key: str, prompt: str = "") -> str:
    """One question outside a talk; as it is kept, empty where nobody knows.

    Args:
        key: Of the question.
        prompt: In place of its own.
    """
    question = BY_KEY[key]
    bare = (prompt or Talk("full").prompt(question)).rstrip(" :")
    return ask(f"{bare} [Enter: {question.unknown}]: ", lambda text: question.read(text, {}), empty="",
               hint=" ".join(question.help))  # fmt: skip
