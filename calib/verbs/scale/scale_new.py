"""A scale's file made of options and two or three questions. Checks of it lie elsewhere."""

from pathlib import Path
from typing import TypeVar

from calib.errors import UsageError
from calib.identity import check_id
from calib.records import Locks
from calib.scale import Scale
from calib.use.scales.scale_described import (
    LOCKING,
    LOCKS,
    MAXIMUM,
    MOST,
    STEPS,
    Kind,
    scale_of,
    shown_value,
    unit_behind,
)
from calib.verbs.scale.scale_questions import needed
from calib.verbs.terminal.prompts import ask, at_terminal, choose, lead, prepare, say
from calib.verbs.terminal.quantities import option_in_si

T = TypeVar("T")
KINDS: tuple[Kind, ...] = ("hanging-scale", "platform-scale", "load-cell")


def new_scale(name: str, kind: str, resolution: str | None, capacity: str | None, locks: str | None) -> Scale:
    """A scale from options; where the step is not given and somebody is there, asked for.

    Args:
        name: What to call it.
        kind: One of `KINDS`.
        resolution: One step of the display, with its unit; None asks.
        capacity: The most it takes, with its unit; None asks where the step was asked for.
        locks: One of `LOCKS`; None likewise.

    Raises:
        UsageError: An option cannot be read, or is needed.
        DataError: Step and capacity do not go together.
    """
    check_id(name)
    named_kind = one_of("--kind", kind, KINDS)
    locking = one_of("--locks", locks, tuple(LOCKS)) if locks is not None else None
    if resolution is not None:
        step, unit = _option(resolution, "--resolution", "0.05kg")
        most = _option(capacity, "--capacity", "50kg")[0] if capacity is not None else None
        return scale_of(name, named_kind, step, most, locking or "no", unit)
    if not at_terminal():
        raise needed("one step of the display", "--resolution", "0.05kg")
    most = _option(capacity, "--capacity", "50kg")[0] if capacity is not None else None
    prepare()
    return lead(lambda: _asked(name, named_kind, most, locking))


def _asked(name: str, kind: Kind, most: float | None, locks: Locks | None) -> Scale:
    """A scale from answers; what an option said is not asked."""
    prompt = "The number changes in steps of (last digit, e.g. 0.05 kg or 0.1 lb): "
    step, unit = ask(prompt, lambda t: shown_value(t, "kg"), hint=STEPS)
    most = _ask_most(unit) if most is None else most
    return scale_of(name, kind, step, most, locks or _ask_locks(), unit)


def one_of(option: str, value: str, allowed: tuple[T, ...]) -> T:
    """The one that an option names.

    Raises:
        UsageError: It names none.
    """
    found = next((one for one in allowed if one == value), None)
    if found is None:
        raise UsageError(f"{option} {value[:40]!r} is not known", remedy=f"use one of {', '.join(map(str, allowed))}")
    return found


def file_of(name: str, out: Path | None) -> Path:
    """Where a new scale's file goes.

    Args:
        name: Of the scale.
        out: A folder, or the file itself; None for here.

    Raises:
        UsageError: It is a file of another name.
    """
    whole = f"{name}.scale.json"
    if out is None:
        return Path(whole)
    if out.is_dir() or out.suffix.lower() != ".json":
        return out / whole
    if out.name == whole:
        return out
    raise UsageError(f"--out {str(out)[:60]!r} is not a folder", remedy=f"name a folder; the file will be {whole}")


def _ask_most(unit: str) -> float | None:
    prompt = f"Maximum printed on the scale, {unit} (Enter if not known): "
    return ask(prompt, lambda t: shown_value(t, unit)[0], empty=0.0, hint=MAXIMUM) or None


def _ask_locks() -> Locks:
    say("When you stop pulling and ease off a little, the number ...")
    say("   ".join(f"{'  ' if n == 1 else ''}{n}  {words}" for n, words in enumerate(LOCKS.values(), 1)))
    return choose("Which?", tuple(LOCKS), hint=LOCKING)


def _option(text: str, option: str, example: str) -> tuple[float, str]:
    """A force that carries its unit: value [N] and unit."""
    value = option_in_si(text, option, "force")
    if value > MOST:
        raise UsageError(f"{option} {text[:40]!r} is more than any scale shows", remedy=f"for example {example}")
    return value, unit_behind(text) or "kg"
