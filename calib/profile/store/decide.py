"""Taking a decision about a band: one row more in the register's file, under its lock; and what was noted last."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

from calib.errors import DataError
from calib.frozen import dataclass
from calib.identity import check_id
from calib.profile.store.cards import Card
from calib.profile.store.decisions import CAP_BYTES, NAME, Decision, Event, with_row
from calib.profile.store.levels import can_be_one_loop
from calib.profile.store.register import STATUS, KnownBand, Register
from calib.safe_write import update
from calib.stamp import EARLIEST, Stamp, stamp


@dataclass(frozen=True)
class Noted:
    """One thing that was noted of a band, and may be taken back."""

    stamp: Stamp
    words: str


def decide(
    folder: Path,
    event: Event,
    band: str,
    keys: Sequence[str] = (),
    *,
    to: str = "",
    note: str = "",
    after: datetime = EARLIEST,
) -> Decision:
    """Keep a decision in the folder's register.

    Args:
        folder: Whose register; it is begun where it is not there.
        event: What was decided.
        band: The band's mark.
        keys: The calibrations it is about.
        to: The new name, or the entry that is taken back.
        note: Why.
        after: The newest entry known so far; the decision comes after it, whatever the clock says.

    Raises:
        DataError: The register that is there cannot be read, or is of a newer version.
        FileError: It cannot be written.
    """
    decision = Decision(stamp(after), event, band, to, tuple(keys), note)
    update(folder / NAME, lambda there: with_row(there, NAME, decision), CAP_BYTES)
    return decision


def set_status(register: Register, band: KnownBand, event: Event, note: str = "") -> Decision:
    """Retire a band, mark it as suspect, or put it back in use.

    Raises:
        DataError: It is so already.
    """
    if band.status == STATUS[event]:
        raise DataError(
            f"{band.address} is {band.status} already", remedy=f"bandcurve undo {band.address} takes it back"
        )
    return decide(register.folder, event, band.mark, band.keys, note=note, after=register.newest)


def rename(register: Register, band: KnownBand, to: str, cards: Sequence[Card] = ()) -> Decision:
    """Give a band another name, or some of its calibrations, which then are another band's.

    Args:
        register: As it is.
        band: Which.
        to: The new name.
        cards: Only these calibrations; all of it if none.

    Raises:
        DataError: The name cannot be one, or is another band's.
    """
    check_id(to)
    taken = [b for b in register.bands if b.mark.lower() == to.lower() and b is not band]
    if taken:
        raise DataError(
            f"there is a band {taken[0].address} already",
            remedy=f"choose another name; or if both are one band: bandcurve merge {band.address} {taken[0].address}",
        )
    if to == band.mark:
        raise DataError(f"it already has that name: {to}", remedy="give another one")
    return decide(
        register.folder, "renamed", band.mark, [c.key for c in cards] or band.keys, to=to, after=register.newest
    )


def merge(register: Register, first: KnownBand, second: KnownBand) -> Decision:
    """Say that two bands are one; the second then has the name of the first.

    Raises:
        DataError: Their flat lengths or strands cannot be of one band, or one was never calibrated.
    """
    for a in first.calibrations:
        for b in second.calibrations:
            if not can_be_one_loop((a.loop, b.loop)):
                raise DataError(
                    f"{first.address} and {second.address} cannot be one band: flat lengths of {a.flat_length:.3f} and "
                    f"{b.flat_length:.3f} m, {a.strands} and {b.strands} strands",
                    remedy="correct what was mistyped, or rename one of them",
                )
    if not first.keys or not second.keys:
        never = second if first.keys else first
        raise DataError(f"{never.address} was never calibrated", remedy="change the name in its log by hand")
    newest = register.newest
    if first.mark.lower() != second.mark.lower():
        newest = decide(register.folder, "renamed", second.mark, second.keys, to=first.mark, after=newest).stamp.at
    return decide(register.folder, "one-band", first.mark, (*first.keys, *second.keys), after=newest)


def keep_pairs(register: Register, pairs: Sequence[tuple[KnownBand, KnownBand]]) -> None:
    """Keep pairs of bands together, left and right, until one is undone or paired otherwise.

    Raises:
        DataError: One of them was never calibrated.
    """
    newest = register.newest
    for left, right in pairs:
        for band in (left, right):
            if not band.keys:
                remedy = f"measure it: bandcurve record {band.mark}"
                raise DataError(f"{band.address} was never calibrated", remedy=remedy)
        if left.partner != right.id or left.hangs != "left":
            keys = (*left.keys, *right.keys)
            newest = decide(register.folder, "paired", left.mark, keys, to=right.mark, after=newest).stamp.at


def last_noted(register: Register, band: KnownBand) -> Noted:
    """What was noted last of a band: a decision, repetitions, a re-check.

    Raises:
        DataError: Nothing was.
    """
    noted = sorted(_noted(register, band), key=lambda n: (n.stamp.at, n.stamp.entry))
    if not noted:
        raise DataError(f"there is nothing to undo for {band.address}")
    return noted[-1]


def take_back(register: Register, band: KnownBand, noted: Noted) -> Decision:
    """Take back what was noted; the row stays where it is, and does not count."""
    return decide(register.folder, "undone", band.mark, band.keys, to=noted.stamp.entry, after=register.newest)


def _noted(register: Register, band: KnownBand) -> Iterator[Noted]:
    keys = set(band.keys)
    for d in register.decisions:
        if keys & set(d.keys) or (not d.keys and d.band.lower() == band.mark.lower()):
            day, to = d.stamp.at.date(), f" {'with' if d.event == 'paired' else 'to'} {d.to}" if d.to else ""
            yield Noted(d.stamp, f"{d.band} {d.event.replace('-', ' ')}{to} on {day}")
    for use in band.uses:
        yield Noted(use.stamp, f"{use.reps} repetitions of {use.on}")
    for check in band.rechecks:
        yield Noted(check.stamp, f"re-check with {check.hung.mass:g} kg of {check.on}")
