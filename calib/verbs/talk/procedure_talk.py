"""What is asked outside the talk before a recording: warmth, latitude."""

from calib.acquire.files.typed import parse_temperature
from calib.verbs.talk.asking import ask_alone


def ask_temperature() -> float | None:
    """None where it is not known. [degree Celsius]"""
    kept = ask_alone("temperature")
    return parse_temperature(kept) if kept else None


def ask_latitude() -> float | None:
    """Of the place, where weight is the measure; None where it is not known. [degree, south below zero]"""
    kept = ask_alone("latitude")
    if not kept:
        return None
    degrees, _, side = kept.partition(" ")
    return -float(degrees) if side == "S" else float(degrees)
