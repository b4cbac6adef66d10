"""`bandcurve merge`: are these one band or two? Asked, once, and kept."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from calib.errors import DataError, UsageError
from calib.verbs.terminal import typer_later as typer
from calib.verbs.terminal.band_argument import BandArgument, FolderOption

if TYPE_CHECKING:
    from calib.profile.store.cards import Card
    from calib.profile.store.register import KnownBand, Register


def command(
    band: BandArgument,
    other: Annotated[str | None, typer.Argument(metavar="[OTHER]", help="Another name of the same band.")] = None,
    one: Annotated[bool, typer.Option("--one", help="They are one band; do not ask.")] = False,
    two: Annotated[
        str | None, typer.Option("--two", metavar="NAME", help="They are two bands; the second gets this name.")
    ] = None,
    folder: FolderOption = Path(),
) -> int:
    """Decide whether files under one name, or two names, belong to one band.

    For when two people's folders were merged: shows the evidence, then asks.

    \b
    Examples:
      bandcurve merge B03
      bandcurve merge B03 --two bob-B03
      bandcurve merge B07 red-07 --one
    """
    from calib.profile.store.register import read_register

    register = read_register(folder)
    first, second = _both(register, band, other)
    if one and two:
        raise UsageError("--one and --two cannot be combined", remedy="give only one of them")
    name = two if two else None if one else _asked(first, second)
    if name is None:
        _merge(register, first, second)
        print(f"{first.mark} is one band. Back: bandcurve undo {first.mark}")
    else:
        _part(register, second, name)
        print(f"Two bands: {first.mark} and {name}. Back: bandcurve undo {name}")
    return 0


def _both(register: "Register", name: str, other: str | None) -> "tuple[KnownBand, KnownBand]":
    """The two bands in question; of one band with files in several folders, it and that of the last folder."""
    from dataclasses import replace

    if other is not None:
        return register.band(name), register.band(other)
    same = [b for b in register.bands if b.mark.lower() == name.strip().lower()]
    if len(same) > 1:
        return same[0], same[1]
    known = register.band(name)
    folders = list(dict.fromkeys(c.folder for c in known.calibrations))
    if len(folders) < 2:
        raise DataError(
            f"{known.address} is one band in one folder: there is nothing to decide",
            remedy="name the other band too; or if a file of it is another band's: bandcurve rename FILE NAME",
        )
    theirs = tuple(c for c in known.calibrations if c.folder == folders[-1])
    mine = tuple(c for c in known.calibrations if c not in theirs)
    copies = [tuple(c for c in known.copies if c.key in {k.key for k in own}) for own in (mine, theirs)]
    parts = [
        replace(known, calibrations=own, copies=c, aside=()) for own, c in zip((mine, theirs), copies, strict=True)
    ]
    return parts[0], parts[1]


def _asked(first: "KnownBand", second: "KnownBand") -> str | None:
    """None where they are one band; else what the second shall be called."""
    from calib.identity import check_id
    from calib.verbs.terminal.prompts import EndOfInputError, ask, at_terminal, choose, lead, prepare, say

    if not at_terminal():
        raise UsageError("there is no terminal to ask at", remedy="say --one, or --two NAME")
    prepare()
    say(*(f"  {line}" for known in (first, second) for line in _lines(known.calibrations)), *_against(first, second))

    def talk() -> str | None:
        say("Are they one band?", "  1  one band", "  2  two bands")
        one = "One band measured twice has both in its history. If in doubt, choose two."
        if choose("Number", (True, False), default=2, hint=one):
            return None
        return ask(f"A name for the second ({_place(second.calibrations)}): ", check_id,
                   hint="Letters, digits, . _ - and no spaces, like B03b. The files do not change.")  # fmt: skip

    try:
        return lead(talk)
    except EndOfInputError:
        raise KeyboardInterrupt from None


def _place(cards: "Sequence[Card]") -> str:
    return cards[0].folder or "this folder" if cards else "never calibrated"


def _lines(cards: "Sequence[Card]") -> list[str]:
    return [
        f"{c.path}: measured {c.day or 'on an unknown date'}, flat {c.flat_length:.3f} m, "
        f"{c.forces[len(c.forces) // 2] / 9.80665:.1f} kg at {c.lengths[len(c.lengths) // 2]:.2f} m (half-path)"
        for c in cards
    ]


def _against(first: "KnownBand", second: "KnownBand") -> list[str]:
    from calib.profile.store.levels import level_ratio

    if not first.calibrations or not second.calibrations:
        return []
    ratio = level_ratio(first.calibrations[-1], second.calibrations[-1])
    return [] if ratio is None else [f"The second pulls {abs(ratio - 1):.1%} {'more' if ratio > 1 else 'less'}."]


def _merge(register: "Register", first: "KnownBand", second: "KnownBand") -> None:
    from calib.profile.store.decide import merge

    merge(register, first, second)


def _part(register: "Register", second: "KnownBand", name: str) -> None:
    from calib.profile.store.decide import rename

    rename(register, second, name, (*second.calibrations, *second.copies))
