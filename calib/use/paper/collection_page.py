"""A collection as one file of HTML that needs nothing else: no network, no other file, one small script of its own.

Both units stand in it and a switch shows one of them, without the script too. The script moves one length along all
curves; the numbers it shows at whole centimetres are those of `predict`, and straight lines go between them.
"""

import json
from collections.abc import Callable, Sequence
from functools import cache
from math import ceil, floor
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from calib.profile.document import Profile
from calib.profile.table import BRANCHES
from calib.units import SHOWN, Shown
from calib.use.bands.curve_answer import curve_answer, table_lengths
from calib.use.paper.answer_svg import batch_svg, budget_svg, compare_svg, history_svg, pairs_svg, rig_svg
from calib.use.paper.collected import BandPart, BatchPart, Collected, PairPart, RigPart
from calib.use.paper.curve_svg import curve_svg, overlay_svg
from calib.use.report.as_html import html_of
from calib.use.report.curve_views import curve_view
from calib.use.report.pair_views import compare_view, pair_view
from calib.use.report.rig_views import rig_view

STEP = 0.01  # [m] of the tape, between two lengths whose pulls stand in the page
UNITS = tuple(SHOWN.values())


def collection_page(found: Collected, unit: str = "kg") -> str:
    """The page.

    Args:
        found: The collection.
        unit: "kg" or "lb", shown first.
    """
    parts = [part for part in found.bands if part.profile is not None]
    values = {
        "found": found,
        "unit": unit,
        "bands": [_band(i, part) for i, part in enumerate(found.bands)],
        "overlay": _in_both_units(lambda shown: overlay_svg(_curves(parts), shown)) if parts else "",
        "pulls": _script_data(_pulls(found.bands)),
        "pairs": [_pairs(part) for part in found.pairs],
        "batches": [_batch(part) for part in found.batches],
        "rigs": [_rig(i, part) for i, part in enumerate(found.rigs)],
        "due": [b.name for b in found.bands if b.listed.due and b.status != "retired"],
        "scales_due": [s.scale for s in found.scales if s.due],
    }
    return _templates().get_template("collection.html").render(**values)


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("calib.use.paper"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _in_both_units(made: Callable[[Shown], str]) -> Markup:
    """Something in both units, one of which is shown; what makes it escapes what users wrote."""
    return Markup("".join(f'<div class="in-{shown.force}">{made(shown)}</div>' for shown in UNITS))


def _curves(parts: Sequence[BandPart]) -> list[tuple[str, Profile, float]]:
    return [(part.name, part.profile, part.offset) for part in parts if part.profile is not None]


def _pulls(parts: Sequence[BandPart]) -> dict[str, Any]:
    """What the script needs: of every band its pulls at each step of its own tape. [N]"""
    bands = [_along(part) for part in parts]
    ways = [way for band in bands for way in band.values() if way["force"]]
    first = min((way["first"] for way in ways), default=0)
    last = max((way["first"] + len(way["force"]) - 1 for way in ways), default=0)
    units = {s.force: {"newton": s.newton, "metre": s.metre, "length": s.length} for s in UNITS}
    return {"step": STEP, "first": first, "last": last, "units": units, "bands": bands}


def _along(part: BandPart) -> dict[str, Any]:
    """Both branches, each at the whole steps of the tape it was tested at. [N]"""
    found: dict[str, Any] = {}
    for name in BRANCHES:
        branch = part.profile.branch(name) if part.profile else None
        if part.profile is None or branch is None:
            continue
        low, high = branch.length_m[0], branch.length_m[-1]
        first, last = ceil((low - part.offset) / STEP - 1e-9), floor((high - part.offset) / STEP + 1e-9)
        lengths = [min(max(k * STEP + part.offset, low), high) for k in range(first, last + 1)]
        if lengths:
            at = part.profile.pulls(lengths, name)
            columns = {"force": at.force_N, "mean": at.u95_mean_N, "next": at.u95_next_set_N}
            found[name] = {"first": first} | {k: [round(float(v), 2) for v in values] for k, values in columns.items()}
    return found


def _script_data(value: Any) -> Markup:
    """JSON that cannot end the element it stands in."""
    return Markup(json.dumps(value, separators=(",", ":")).replace("<", "\\u003c"))


def _band(number: int, part: BandPart) -> dict[str, Any]:
    told: dict[str, Any] = {"id": f"band-{number}", "part": part, "flat": "", "view": "", "picture": "", "more": ""}
    if part.profile is None:
        return told
    profile = part.profile

    def view(shown: Shown) -> str:
        answer = curve_answer(profile, table_lengths(profile, shown), file=part.file, beside=part.beside)
        return html_of(curve_view(answer, shown))

    budget = curve_answer(profile, (), file=part.file).budget
    history, change = part.history, part.change
    return told | {
        "flat": " / ".join(f"{s.tape(profile.band.flat_length_m)} {s.length}" for s in UNITS),
        "picture": _in_both_units(lambda shown: curve_svg(profile, part.offset, shown, cursor=False)),
        "view": _in_both_units(view),
        "budget": Markup(budget_svg(budget)) if budget else "",
        "history": Markup(history_svg(history)) if history else "",
        "days": _days(part),
        "change": _in_both_units(lambda shown: compare_svg(change, shown) + html_of(compare_view(change, shown)))
        if change
        else "",
    }


def _days(part: BandPart) -> list[tuple[str, ...]]:
    """Calibrations and re-checks as rows: day, by what, level, its limit, repetitions since the first."""
    if part.history is None:
        return []
    said = {True: "plate, passed", False: "plate, not passed", None: "plate, out of range"}
    rows: list[tuple[str, str, float | None, float, int]] = [
        (c.day or "not noted", "calibration", c.level.level_ratio, c.level.u95_mean_level_ratio, c.reps)
        for c in part.history.calibrations
    ]
    rows += [
        (r.day, said[r.passed], r.level.level_ratio if r.level else None,
         r.level.u95_mean_level_ratio if r.level else 0.0, r.reps)
        for r in part.history.rechecks
    ]  # fmt: skip
    return [
        (day, by, "-" if level is None else f"{level:.1%}", "-" if level is None else f"{limit:.1%}", f"{reps}")
        for day, by, level, limit, reps in sorted(rows, key=lambda row: row[0])
    ]


def _pairs(part: PairPart) -> dict[str, Any]:
    answer = part.answer
    if answer is None:
        return {"part": part, "view": ""}
    return {
        "part": part,
        "view": _in_both_units(lambda shown: pairs_svg(answer, shown) + html_of(pair_view(answer, shown))),
    }


def _batch(part: BatchPart) -> dict[str, Any]:
    return {"part": part, "picture": Markup(batch_svg(part.batch)) if part.batch else ""}


def _rig(number: int, part: RigPart) -> dict[str, Any]:
    answer = part.answer
    if answer is None:
        return {"id": f"rig-{number}", "part": part, "view": ""}
    view = _in_both_units(lambda shown: rig_svg(answer, shown) + html_of(rig_view(answer, shown)))
    return {"id": f"rig-{number}", "part": part, "view": view}
