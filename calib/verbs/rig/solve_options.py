"""What a user wants of a bar, read from options: plates that exist, loads, a share with its meaning, lengths to try."""

import re
from typing import TYPE_CHECKING

from calib.acquire.files.typed import listed
from calib.errors import UsageError
from calib.verbs.terminal.quantities import UNIT_HELP, option_in_si

if TYPE_CHECKING:
    from calib.use.rig.plates import Plates

UNIT_HELP_ALSO = UNIT_HELP.replace("in the words", "in the words and for numbers without a unit")
MOST_KINDS, MOST_EACH = 16, 60
MOST_LENGTHS = 60
HEAVIEST = 1e4  # kg


def load_option(text: str, option: str, unit: str) -> float:
    """Read a load, plates or a bar, no heavier than a rig may say. [kg]

    Args:
        text: For example "100", "100kg", "225lb".
        option: Its name, for the message.
        unit: What a bare number is in.

    >>> load_option("100", "--top", "kg"), load_option("45lb", "--plates", "kg")
    (100.0, 20.41165665)

    Raises:
        UsageError: It is not a mass above zero.
    """
    value = option_in_si(text, option, "mass", unit)
    if value >= HEAVIEST:
        raise UsageError(f"{option} {text[:40]!r} is more than any bar holds", remedy=f"for example {option} 100kg")
    return value


def plates_option(text: str, unit: str) -> "list[Plates]":
    """Read the plates that exist, on both sides together.

    Args:
        text: Mass, x, how many: for example "20x4,10x2" or "45lbx6,2.5kgx2".
        unit: What a bare number is in.

    >>> [(one.mass, one.count) for one in plates_option("20x4, 2,5kg x 2", "kg")]
    [(20.0, 4), (2.5, 2)]

    Raises:
        UsageError: It is not such a list.
    """
    from calib.use.rig.plates import Plates

    remedy = "write the mass, x, and how many there are: --plates 20x4,10x2"
    parts = listed(text) or [text]
    if len(parts) > MOST_KINDS:
        raise UsageError(f"--plates names {len(parts)} kinds", remedy=f"give at most {MOST_KINDS}")
    found = []
    for part in parts:
        split = re.fullmatch(r"\s*(.+?)\s*[xX*]\s*([0-9]{1,4})\s*", part)
        if split is None:
            raise UsageError(f"--plates {part[:40]!r} is not a mass and a number of plates", remedy=remedy)
        if not 0 < int(split[2]) <= MOST_EACH:
            raise UsageError(f"--plates {part[:40]!r} names {int(split[2])} plates", remedy=f"give 1 to {MOST_EACH}")
        found.append(Plates(load_option(split[1], "--plates", unit), int(split[2])))
    return found


def share_option(text: str) -> float:
    """Read a share in percent.

    >>> share_option("25%")
    0.25

    Raises:
        UsageError: It has no percent sign or is not between 0 and 100.
    """
    found = re.fullmatch(r"\s*([0-9]{1,3}(?:[.,][0-9]{1,3})?)\s*%\s*", text, re.ASCII)
    share = float(found[1].replace(",", ".")) / 100 if found else 0.0
    if not 0 < share < 1:
        raise UsageError(f"--share {text[:40]!r} is not a share between 0 and 100 %", remedy="for example --share 25%")
    return share


def several_lengths(text: str, option: str) -> tuple[float, ...]:
    """Read lengths to try: some with commas, or first:last:step; the unit may stand at the end only. [m]

    >>> several_lengths("80,130mm", "--anchor-heights"), several_lengths("80:180:50mm", "--anchor-heights")
    ((0.08, 0.13), (0.08, 0.13, 0.18))

    Raises:
        UsageError: It is no such list, has no unit, or is too long.
    """
    found = re.search(r"[A-Za-z]+\s*$", text)
    if found is None:
        raise UsageError(f"{option} {text[:40]!r} has no unit", remedy=f"for example {option} 80:580:50mm")
    unit = found[0].strip()
    if ":" not in text:
        lengths = [option_in_si(part, option, "length", unit) for part in listed(text)[: MOST_LENGTHS + 1]]
    else:
        parts = text.split(":")
        if len(parts) != 3:
            raise UsageError(
                f"{option} {text[:40]!r} is not first:last:step", remedy=f"for example {option} 80:580:50mm"
            )
        first, last, step = (option_in_si(part, option, "length", unit) for part in parts)
        if last < first:
            raise UsageError(f"{option} {text[:40]!r} ends before it begins", remedy="write first:last:step")
        count = int((last - first) / step + 1e-9) + 1
        lengths = [round(first + i * step, 9) for i in range(min(count, MOST_LENGTHS + 1))]
    if len(lengths) > MOST_LENGTHS:
        raise UsageError(f"{option} {text[:40]!r} names more than {MOST_LENGTHS} lengths", remedy="try fewer at a time")
    return tuple(sorted(set(lengths)))
