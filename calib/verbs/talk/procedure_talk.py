"""What is asked outside the talk before a recording: warmth."""

from calib.acquire.files.typed import parse_temperature
from calib.verbs.talk.asking import ask_alone


def ask_temperature() -> float | None:
    """None where it is not known. [degree Celsius]"""
    kept = ask_alone("temperature")
    return parse_temperature(kept) if kept else None
