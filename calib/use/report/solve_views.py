"""How what solve found looks: bands, plates and loads of each proposal, what is to be minded, what is not reachable.

The words are also the line-up's. Nothing is searched for here.
"""

import re
from collections.abc import Iterable, Sequence

from calib.units import Shown
from calib.use.answers.parts import Doubt
from calib.use.answers.rigs import (
    CheckNumber,
    LoadAt,
    NotReachable,
    Proposed,
    SolveAnswer,
    StraightWeight,
    Wanted,
    WeightAnswer,
)
from calib.use.report.layout import sentence
from calib.use.report.rig_views import REMINDER, urgent_first
from calib.use.report.view import Grid, Section, View, both_loads, length, load, mass, other_units

SHARE_OF: dict[str, str] = {
    "bottom": "the load at the bottom",
    "top": "the load at the top",
    "average": "the load on average",
    "weight": "bar and plates (where the bands pull most)",
    "maximum": "the maximum (where the bands pull most)",
}
_AT = {"bottom": "at the bottom", "top": "at the top", "average": "on average"}
_ALWAYS_SAID = (
    "bar-may-lift", "loading-order", "anchor-may-lift", "anchor-may-slide", "anchor-may-tip", "over-working-stretch",
    "sides-unequal", "outside-tested", "band-slack", "hitch-estimated", "no-unloading",
)  # fmt: skip
_NAMES = 4  # of bands in one sentence about what cannot be reached
TIES = (
    "Misses within these limits are ties. Ties are ranked by how evenly the sides pull, then by how little changes in "
    "the rig, then by fewer plates."
)


def solve_view(answer: SolveAnswer, shown: Shown) -> View:
    """The best few, the first of them in full kilos; each one's cautions and what is not reachable on request."""
    best = answer.proposals[0]
    wished = " and ".join(wish_text(wish, shown) for wish in answer.wanted)
    within = f"within {load(answer.within_kg, shown)} {shown.force}"
    rows = tuple(_row(n, p, answer.wanted, shown) for n, p in enumerate(answer.proposals, 1))
    unit, also = shown.force, other_units(shown).force
    headers = ("", "bands", "hangs", "a side", f"bottom {unit}", also, f"top {unit}", also, "mean", "set")
    lines = (f"Wanted: {wished}, going up, {within}.", *_twins(answer), REMINDER)
    each = tuple(_section(n, p, answer, shown) for n, p in enumerate(answer.proposals, 1))
    return View(
        kilos=f"{bands_text(best)} {best.bands[0].arrangement}, {_plates_a_side(best, shown)}: "
        + ", ".join(f"{load(best.loads[of].bar_load_kg, shown)} {shown.force} {_AT[of]}" for of in ("bottom", "top")),
        grid=Grid(headers, rows),
        lines=lines,
        findings=cautions_of(best),
        sections=(_limits(answer, shown), *each, *_missed(answer, shown)),
        after=(f"Written: {answer.file}. Next: bandcurve rig check {answer.file}",) if answer.file else (),
    )


def _plates_a_side(proposal: Proposed, shown: Shown) -> str:
    plates = plates_text(proposal.plates_a_side_kg, shown)
    return "no plates" if plates == "none" else f"{plates} {shown.force} a side"


def _twins(answer: SolveAnswer) -> tuple[str, ...]:
    said = "Each band is assumed to have an exact twin. Measured both? Use --each-once."
    return (said,) if answer.twins_assumed else ()


def _about_plates(answer: SolveAnswer, shown: Shown) -> tuple[str, ...]:
    if answer.left_over_plates_kg:
        odd = ", ".join(f"{mass(plate, shown):.4g}" for plate in answer.left_over_plates_kg)
        return (f"Both sides are loaded equally: one plate of {odd} {shown.force} each is left over.",)
    if answer.plates_stay:
        total = load(answer.proposals[0].plates_kg, shown)
        return (f"The plates stay as in the file, {total} {shown.force}; --plates tries others.",)
    return ()


def _limits(answer: SolveAnswer, shown: Shown) -> Section:
    more = f" Also near enough, shown with --few: {answer.more_within} more." if answer.more_within else ""
    twins = " Bands sold as equal can differ by a tenth or more." if answer.twins_assumed else ""
    notes = (
        *_about_plates(answer, shown),
        f"Looked at {answer.looked_at} combinations of bands, ways to hang them and plates.{more}{twins}",
        f'All in {shown.force}. "mean" and "set": 95 % limits, average and one set, the wider of what was wanted.',
        TIES,
        *(
            ()
            if answer.file
            else ("--out writes the first as a rig file; bandcurve rig check compares it with a scale.",)
        ),
    )
    return Section("limits", "", None, notes)


def _section(number: int, proposal: Proposed, answer: SolveAnswer, shown: Shown) -> Section:
    two_sides = len(proposal.bands) > 1 and not answer.twins_assumed
    notes = (
        share_text(proposal),
        *((apart_text(proposal, shown),) if two_sides else ()),
        hold_text(proposal.check_number, shown),
        *(f"- {sentence(f.text)} [{f.code}]" for f in cautions_of(proposal)),
    )
    title = f"Number {number}: {bands_text(proposal)} {hung_text(proposal, shown)}"
    return Section(f"number-{number}", title, None, notes)


def _missed(answer: SolveAnswer, shown: Shown) -> tuple[Section, ...]:
    notes = [sentence(text) for text in missed_texts(answer.not_reachable, shown)]
    if answer.uneven_pairs:
        notes.append(f"{answer.uneven_pairs} pairs were skipped: left and right would pull too differently.")
    return (Section("not-reachable", "Not reachable", None, tuple(notes)),) if notes else ()


def weight_view(answer: WeightAnswer, shown: Shown) -> View:
    """The straight weight, without bands, that puts the same load on the bar."""
    rows = tuple((_AT[of], *_weight_cells(one, shown)) for of, one in answer.straight_weight.items())
    nearest = any(one.nearest is not None for one in answer.straight_weight.values())
    headers = ("same load", f"without bands, {shown.force}", other_units(shown).force, "+- mean", "+- next set")
    also = ("nearest", "plates a side") if nearest else ()
    same = ", ".join(f"{load(one.bar_load_kg, shown)} {shown.force} {_AT[of]}"
                     for of, one in answer.straight_weight.items())  # fmt: skip
    meant = f"All in {shown.force}, bar included. On average over the height: the same work going up."
    return View(
        kilos=f"Without bands: {same}",
        grid=Grid((*headers, *also), rows),
        lines=(
            f"Bar and plates {both_loads(answer.bar_and_plates_kg, shown)} with bands, going up; limits 95 %.",
            REMINDER,
        ),
        findings=urgent_first(answer.findings),
        sections=(Section("check-number", "", None, (meant, hold_text(answer.check_number, shown))),),
    )


def _weight_cells(one: StraightWeight, shown: Shown) -> tuple[str, ...]:
    own = load(one.bar_load_kg, shown), load(one.bar_load_kg, other_units(shown))
    cells = (*own, load(one.u95_mean_kg, shown), load(one.u95_next_set_kg, shown))
    if one.nearest is None:
        return cells
    plates = plates_text(one.nearest.plates_a_side_kg, shown)
    return (*cells, load(one.nearest.bar_and_plates_kg, shown), plates.replace(" + ", "+"))


def wish_text(wish: Wanted, shown: Shown) -> str:
    """What was wanted, for example "100.0 kg at the top"."""
    if wish.load_kg is not None:
        return f"{load(wish.load_kg, shown)} {shown.force} {_AT[wish.of]}"
    of = SHARE_OF[wish.of]
    if wish.maximum_kg is not None:
        of = of.replace("maximum", f"maximum of {load(wish.maximum_kg, shown)} {shown.force}")
    return f"bands that pull {100 * (wish.share or 0.0):.4g} % of {of}"


def bands_text(proposal: Proposed) -> str:
    """The bands of a proposal, the sides told apart where they differ."""
    sides: dict[str, list[str]] = {}
    for band in proposal.bands:
        sides.setdefault(band.side, []).append(band.band)
    names = [" + ".join(bands) for bands in sides.values()]
    if len(set(names)) == 1:
        return names[0]
    return ", ".join(f"{side} {name}" for side, name in zip(sides, names, strict=True))


def hung_text(proposal: Proposed, shown: Shown) -> str:
    """How they hang, for example "choked, anchor at 0.100 m, pegs 0.300 m apart"."""
    first = proposal.bands[0]
    heights = dict.fromkeys(length(band.anchor_height_m, shown) for band in proposal.bands)
    parts = [first.arrangement, f"anchor at {' and '.join(heights)}"]
    if first.pegs_apart_m:
        apart = length(first.pegs_apart_m, shown)
        parts.append(f"{apart} under the feet" if first.arrangement == "across" else f"pegs {apart} apart")
    return ", ".join(parts)


def plates_text(plates: Sequence[float], shown: Shown) -> str:
    """Plates on one side in kilograms, the heaviest first, as text in a unit."""
    counts = {plate: list(plates).count(plate) for plate in plates}
    named = [(f"{n} x " if n > 1 else "") + f"{mass(plate, shown):.4g}" for plate, n in counts.items()]
    return " + ".join(named) or "none"


def _row(number: int, proposal: Proposed, wishes: Sequence[Wanted], shown: Shown) -> tuple[str, ...]:
    """A line of the table; the limits are the widest of the loads that were wanted."""
    found = wanted_loads(proposal, wishes)
    return (
        str(number),
        bands_text(proposal),
        proposal.bands[0].arrangement,
        plates_text(proposal.plates_a_side_kg, shown),
        *(
            load(proposal.loads[of].bar_load_kg, of_whom)
            for of in ("bottom", "top")
            for of_whom in (shown, other_units(shown))
        ),
        load(max(k.u95_mean_kg for k in found), shown),
        load(max(k.u95_next_set_kg for k in found), shown),
    )


def wanted_loads(proposal: Proposed, wishes: Iterable[Wanted]) -> list[LoadAt]:
    """The load each wish is about; of bar and plates or of a maximum, where the bands pull most."""
    weight = proposal.bar_and_plates_kg
    most = max((proposal.loads[of] for of in ("bottom", "top")), key=lambda at: abs(at.bar_load_kg - weight))
    return [proposal.loads.get(wish.of, most) for wish in wishes]


def share_text(proposal: Proposed) -> str:
    """The shares in one sentence, each with its meaning."""
    named = [(of, value) for of, value in proposal.band_share.items() if value is not None]
    does = "take off" if all(value <= 0 for _, value in named) else "pull"
    return f"The bands {does} {', '.join(f'{100 * abs(value):.0f} % of {SHARE_OF[of]}' for of, value in named)}."


def apart_text(proposal: Proposed, shown: Shown) -> str:
    """How far left and right are apart, with its limits."""
    apart, u95 = (load(x, shown) for x in (proposal.sides_apart_kg, proposal.u95_mean_sides_apart_kg))
    return f"Left and right differ by {apart} {shown.force} at most, +- {u95} {shown.force}."


def hold_text(number: CheckNumber | None, shown: Shown) -> str:
    """The check number in one sentence."""
    if number is None:
        return "No check number: some bands hang from above and some from below; check each piece."
    pulls = []
    for name, side in number.sides.items():
        wide = f"+- {load(side.u95_next_set_kg, shown)} for one reading, {load(side.u95_mean_kg, shown)} for the mean"
        pulls.append(f"the {name} side {load(side.pull_kg, shown)} {shown.force} ({wide})")
    if len({re.sub("left|right", "", text) for text in pulls}) == 1:
        pulls = [pulls[0].replace("the left side", "each side")] if len(pulls) > 1 else pulls
    out = "both ends of the band" if number.both_ends else "the bands of one side"
    return (
        f"Check number: with {out} pulled out to {length(number.height_m, shown)} in place of the bar, after a few "
        f"pulls through the whole lift, a scale shows after {number.wait_s:.0f} s: {' and '.join(pulls)}."
    )


def cautions_of(proposal: Proposed) -> tuple[Doubt, ...]:
    """What has to be said beside a proposal, the urgent first, alike sentences about two bands once."""
    found: dict[str, Doubt] = {}
    for finding in proposal.findings:
        if finding.code in _ALWAYS_SAID:
            found.setdefault(finding.text, finding)
    return urgent_first(found.values())


def missed_texts(missed: Sequence[NotReachable], shown: Shown) -> list[str]:
    """What cannot be reached, one sentence for each reason, arrangements with the same one together."""
    kinds: dict[tuple[str, str], list[NotReachable]] = {}
    for one in sorted(missed, key=lambda m: m.miss_kg or 0.0):
        kinds.setdefault((one.arrangement, one.why), []).append(one)
    alike: dict[str, list[str]] = {}
    for (arrangement, why), ones in kinds.items():
        named = "; ".join(
            f"{m.bands}: {m.text}" if m.miss_kg is None else f"{m.bands} by {load(m.miss_kg, shown)} {shown.force}"
            for m in ones[:_NAMES]
        )
        more = f"; and {len(ones) - _NAMES} more" if len(ones) > _NAMES else ""
        alike.setdefault(f"({'too far off' if why == 'misses' else why}): {named}{more}", []).append(arrangement)
    return [f"{', '.join(arrangements)} {text}" for text, arrangements in alike.items()]


def too_far_text(answer: SolveAnswer, near: Proposed, shown: Shown) -> str:
    """Why nothing is proposed, with the nearest that can be had."""
    wished = " and ".join(wish_text(wish, shown) for wish in answer.wanted)
    lifts = any(f.code == "bar-may-lift" for f in near.findings)
    flies = " (there the bands may pull more than bar and plates weigh: if you let go, the bar flies up)"
    risk = flies if lifts else ""
    return (
        f"{wished} cannot be reached within {load(answer.within_kg, shown)} {shown.force}; the nearest is "
        f"{reached_text(near, answer.wanted, shown)}, with {bands_text(near)} {hung_text(near, shown)} and "
        f"{_plates_a_side(near, shown)}{risk}"
    )


def reached_text(proposal: Proposed, wishes: Sequence[Wanted], shown: Shown) -> str:
    """What a proposal gives of what was wanted."""
    said = []
    for wish in wishes:
        if wish.load_kg is not None:
            said.append(f"{load(proposal.loads[wish.of].bar_load_kg, shown)} {shown.force} {_AT[wish.of]}")
            continue
        share = _share_reached(proposal, wish)
        said.append(f"{'none' if share is None else f'{100 * share:.0f} %'} of {SHARE_OF[wish.of]}")
    return " and ".join(said)


def _share_reached(proposal: Proposed, wish: Wanted) -> float | None:
    if wish.maximum_kg is not None:
        weight = proposal.bar_and_plates_kg
        return max(abs(proposal.loads[of].bar_load_kg - weight) for of in ("bottom", "top")) / wish.maximum_kg
    found = proposal.band_share[wish.of]
    return None if found is None else abs(found)
