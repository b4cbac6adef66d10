"""A scale's file made of options and two or three questions. Checks of it lie elsewhere."""

from pathlib import Path
from typing import Literal, TypeVar

from calib.acquire.files.typed import parse_force
from calib.errors import DataError, UsageError
from calib.identity import check_id
from calib.records import Locks
from calib.scale import SHOWN_UNIT, Scale
from calib.units import FORCE
from calib.verbs.scale.scale_questions import needed
from calib.verbs.terminal.prompts import ask, at_terminal, choose, lead, prepare, say
from calib.verbs.terminal.quantities import option_in_si

T = TypeVar("T")
Kind = Literal["hanging-scale", "platform-scale", "load-cell"]
KINDS: tuple[Kind, ...] = ("hanging-scale", "platform-scale", "load-cell")
LOCKS: tuple[Locks, ...] = ("no", "peak", "steady")
STEPS = "Pull slowly and watch: 4.00, 4.05, 4.10 are steps of 0.05. Many labels give it as d = 50 g: type 0.05 kg."
MAXIMUM = "It is on the scale's label, often as Max."
LOCKING = "A luggage scale often holds the highest pull, or freezes the number; then you can only measure loading."
MOST = 1e7  # [N] no scale shows more


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
    locking = one_of("--locks", locks, LOCKS) if locks is not None else None
    if resolution is not None:
        step, unit = _option(resolution, "--resolution", "0.05kg")
        most = _option(capacity, "--capacity", "50kg")[0] if capacity is not None else None
        return _document(name, named_kind, step, most, locking or "no", unit)
    if not at_terminal():
        raise needed("one step of the display", "--resolution", "0.05kg")
    most = _option(capacity, "--capacity", "50kg")[0] if capacity is not None else None
    prepare()
    return lead(lambda: _asked(name, named_kind, most, locking))


def _asked(name: str, kind: Kind, most: float | None, locks: Locks | None) -> Scale:
    """A scale from answers; what an option said is not asked."""
    prompt = "The number changes in steps of (last digit, e.g. 0.05 kg or 0.1 lb): "
    step, unit = ask(prompt, lambda t: _typed(t, "kg"), hint=STEPS)
    most = _ask_most(unit) if most is None else most
    return _document(name, kind, step, most, locks or _ask_locks(), unit)


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
    return ask(prompt, lambda t: _typed(t, unit)[0], empty=0.0, hint=MAXIMUM) or None


def _ask_locks() -> Locks:
    say("When you stop pulling and ease off a little, the number ...")
    say("  1  follows the pull   2  stays at the highest pull   3  freezes after a moment")
    return choose("Which?", LOCKS, hint=LOCKING)


def _typed(text: str, unit: str) -> tuple[float, str]:
    """A force above zero as typed [N], and the unit it was typed in."""
    value = parse_force(text, unit)
    if not 0 < value <= MOST:
        raise DataError(f"{text[:20]} is not a value a scale shows", remedy="type for example 0.05, or 50")
    return value, _unit_behind(text) or unit


def _option(text: str, option: str, example: str) -> tuple[float, str]:
    """A force that carries its unit: value [N] and unit."""
    value = option_in_si(text, option, "force")
    if value > MOST:
        raise UsageError(f"{option} {text[:40]!r} is more than any scale shows", remedy=f"for example {example}")
    return value, _unit_behind(text) or "kg"


def _unit_behind(text: str) -> str | None:
    return next((u for u in sorted(FORCE, key=len, reverse=True) if text.strip().endswith(u)), None)


def _document(name: str, kind: Kind, step: float, capacity: float | None, locks: Locks, unit: str) -> Scale:
    if capacity is not None and capacity <= step:
        raise DataError("the capacity is not above one step of the display", remedy="were the two swapped?")
    return Scale(
        format="bandcurve-scale/1",
        id=name,
        kind=kind,
        resolution_N=step,
        capacity_N=capacity,
        locks=locks,
        extensions={SHOWN_UNIT: unit},
    )
