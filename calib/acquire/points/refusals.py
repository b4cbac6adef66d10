"""Why a hold is not taken, and what takes it: one sentence each. Nothing is decided here."""

from collections.abc import Callable

from calib.acquire.points.hold_rules import Event, Grip

MINUTE_S = 60.0


def why_not(event: Event, grip: Grip, words: Callable[[float], str]) -> str:
    """What is said of a hold that `held` refuses.

    Args:
        event: The refusal.
        grip: What fixes the length; "weight" where nothing is pulled, a zero or a known load.
        words: A force in the user's unit.
    """
    if event.why == "sways":
        still = {
            "strap": "strap or pin the length, or begin with --hand; Enter takes it anyway",
            "hand": "hold it stiller; Enter takes it anyway",
            "weight": "let it hang still",
        }
        return f"It swings by {100 * event.size:.1f} %, too much to take: {still[grip]}."
    if event.why == "slow line":
        return "Not taken: too few readings in so short a wait; use a longer --dwell, or a faster line."
    moves = words(MINUTE_S * abs(event.size))
    if grip == "weight":
        return f"Not taken yet: it still moves by {moves} a minute. Does something touch it?"
    return f"Not taken yet: it still moves by {moves} a minute. Fix the length; Enter takes it anyway, z takes a zero."


def silent_for(seconds: float) -> str:
    """What is said where nothing came for so long that the hold has to begin again."""
    return f"The line was silent for {seconds:.0f} s: the hold begins again."
