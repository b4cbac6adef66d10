"""Pulls before the first reading, and the flat length after them: the last of the talk, with the band in hand."""

from calib.acquire.files.typed import parse_length
from calib.records import RunHead
from calib.stamp import here_and_now
from calib.use.ask.gear import gear_of
from calib.use.ask.warm_up import warm_up_words, warmed_up
from calib.verbs.talk.asking import ask_flat_again
from calib.verbs.terminal.prompts import say, yes

FLAT_MOVED = 0.05  # relative: more than warming up does to a band


def condition(head: RunHead) -> RunHead:
    """Say how to warm the band up, and ask for its flat length after it; a quick look goes on at once.

    Args:
        head: From the talk, or from a file that was cut off before the pulls were done.

    Returns:
        The head as it stays.

    Raises:
        BackError: `back` was typed.
    """
    say("", *warm_up_words(head))
    flat = head.band.flat_length
    if not head.extensions.get("quick"):
        say("Then let it lie slack for a minute.")
        flat = flat_after(head)
    return warmed_up(head, flat, here_and_now())


def flat_after(head: RunHead) -> float:
    """The flat length after the pulls; one far from that before is asked about. [m]"""
    gear, before = gear_of(head), head.band.flat_length
    while True:
        kept = ask_flat_again(gear.length_text(before), {"unit": gear.units.length})
        flat = round(parse_length(kept, "mm"), 6)
        if kept == gear.length_text(before):
            return before
        if abs(flat / before - 1) <= FLAT_MOVED or yes(f"It was {gear.length_text(before)} before. Is {kept} right?"):
            return flat
