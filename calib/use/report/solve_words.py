"""What solve found, in words and as a document. Nothing is printed and nothing is searched for here."""

import re
from collections.abc import Sequence

from calib.records import Array
from calib.units import SHOWN
from calib.use.report.rig_words import UNIT, Unit
from calib.use.rig.rig_answers import shares
from calib.use.rig.rig_hold import Hold
from calib.use.rig.solve import Missed, Proposal, Solved, Wish

HEADERS = ("", "bands", "arrangement", "plates a side", "bottom", "top", "+- mean", "+- next set")
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
_NAMES = 4  # of bands in one sentence about what cannot be had


def wish_text(wish: Wish, unit: Unit) -> str:
    """What was wanted, for example "100.0 kg at the top"."""
    if wish.load is not None:
        return f"{wish.load / UNIT[unit]:.1f} {unit} {_AT[wish.of]}"
    of = SHARE_OF[wish.of]
    if wish.of == "maximum":
        of = of.replace("maximum", f"maximum of {wish.maximum / UNIT[unit]:.1f} {unit}")
    return f"bands that pull {100 * wish.share:.4g} % of {of}"


def bands_text(proposal: Proposal) -> str:
    """The bands of a proposal, the sides told apart where they differ."""
    sides: dict[str, list[str]] = {}
    for band, profile in zip(proposal.rig.band, proposal.profiles, strict=True):
        sides.setdefault(band.side, []).append(profile.band.id)
    names = [" + ".join(bands) for bands in sides.values()]
    if len(set(names)) == 1:
        return names[0]
    return ", ".join(f"{side} {name}" for side, name in zip(sides, names, strict=True))


def hung_text(proposal: Proposal, unit: Unit) -> str:
    """How they hang, for example "choked, anchor at 0.100 m, pegs 0.300 m apart"."""
    first = proposal.rig.band[0]
    heights = dict.fromkeys(_length(band.anchor_height, unit) for band in proposal.rig.band)
    parts = [first.arrangement, f"anchor at {' and '.join(heights)}"]
    if first.pegs_apart:
        apart = _length(first.pegs_apart, unit)
        parts.append(f"{apart} under the feet" if first.arrangement == "across" else f"pegs {apart} apart")
    return ", ".join(parts)


def _length(metre: float, unit: Unit) -> str:
    shown = SHOWN[unit]
    return f"{shown.tape(metre)} {shown.length}"


def plates_text(plates: Sequence[float], unit: Unit) -> str:
    """Plates on one side, the heaviest first."""
    counts = {mass: list(plates).count(mass) for mass in plates}
    named = [(f"{n} x " if n > 1 else "") + f"{mass / UNIT[unit]:.4g}" for mass, n in counts.items()]
    return " + ".join(named) or "none"


def row(number: int, proposal: Proposal, wishes: Sequence[Wish], unit: Unit) -> tuple[str, ...]:
    """A line of the table; the limits are the widest of the loads that were wanted."""
    scale, wanted = UNIT[unit], proposal.wanted(wishes)
    return (
        str(number),
        bands_text(proposal),
        proposal.hanging.arrangement,
        plates_text(proposal.plates_a_side, unit),
        *(f"{_one(proposal.loads[of].value) / scale:.1f}" for of in ("bottom", "top")),
        f"{max(_one(k.u95) for k in wanted) / scale:.1f}",
        f"{max(_one(k.next_u95) for k in wanted) / scale:.1f}",
    )


def share_text(proposal: Proposal) -> str:
    """The shares in one sentence, each with its meaning."""
    named = [(of, value) for of, value in shares(proposal).items() if value is not None]
    does = "take off" if all(value <= 0 for _, value in named) else "pull"
    return f"The bands {does} {', '.join(f'{100 * abs(value):.0f} % of {SHARE_OF[of]}' for of, value in named)}."


def apart_text(proposal: Proposal, unit: Unit) -> str:
    """How far left and right are apart, with its limits."""
    directions = list(proposal.answer.ways.values())
    most = max(directions, key=lambda d: float(abs(d.difference.value).max()))
    at = int(abs(most.difference.value).argmax())
    scale = UNIT[unit] * proposal.answer.gravity
    u95 = float(most.difference.u95[at]) / scale
    return f"Left and right differ by {proposal.apart / UNIT[unit]:.1f} {unit} at most (give or take {u95:.1f})."


def hold_text(hold: Hold | None, unit: Unit) -> str:
    """The check number in one sentence."""
    if hold is None:
        return "No check number: some bands hang from above and some from below; hold each by itself."
    scale, pulls = UNIT[unit], []
    for side in hold.sides:
        wide = f"give or take {side.next_u95 / scale:.1f} for one reading, {side.u95 / scale:.1f} for the mean"
        pulls.append(f"the {side.side} side {side.value / scale:.1f} {unit} ({wide})")
    if len({re.sub("left|right", "", text) for text in pulls}) == 1:
        pulls = [pulls[0].replace("the left side", "each side")] if len(pulls) > 1 else pulls
    out = "both ends of the band" if hold.across else "the bands of one side"
    return (
        f"Check number: with {out} pulled out to {_length(hold.height, unit)} in place of the bar, after a few pulls "
        f"through the whole lift, a scale shows after {hold.wait_s:.0f} s: {' and '.join(pulls)}."
    )


def caution_texts(proposal: Proposal) -> list[tuple[str, str]]:
    """What has to be said beside a proposal, as (code, text), alike sentences about two bands once."""
    found: dict[str, str] = {}
    for finding in proposal.answer.findings:
        if finding.code in _ALWAYS_SAID:
            loose = finding.text if finding.code == "loading-order" else re.sub(r"^band\[\d+\] ", "", finding.text)
            found.setdefault(loose, finding.code)
    return [(code, text) for text, code in found.items()]


def missed_texts(missed: Sequence[Missed], unit: Unit) -> list[str]:
    """What cannot be had, one sentence for each reason, arrangements with the same one together."""
    kinds: dict[tuple[str, str], list[Missed]] = {}
    for one in sorted(missed, key=lambda m: m.miss or 0.0):
        kinds.setdefault((one.arrangement, one.why), []).append(one)
    alike: dict[str, list[str]] = {}
    for (arrangement, why), ones in kinds.items():
        named = "; ".join(
            f"{m.band}: {m.text}" if m.miss is None else f"{m.band} by {m.miss / UNIT[unit]:.1f} {unit}"
            for m in ones[:_NAMES]
        )
        more = f"; and {len(ones) - _NAMES} more" if len(ones) > _NAMES else ""
        alike.setdefault(f"({'too far off' if why == 'misses' else why}): {named}{more}", []).append(arrangement)
    return [f"{', '.join(arrangements)} {text}" for text, arrangements in alike.items()]


def too_far_text(solved: Solved, unit: Unit) -> str:
    """Why nothing is proposed, with the nearest that can be had."""
    near, wishes = solved.nearest, solved.sought.wishes
    wanted = " and ".join(wish_text(wish, unit) for wish in wishes)
    risk = " (there the bands may pull more than bar and plates weigh: let go, the bar flies up)" if near.lifts else ""
    plates, hung = plates_text(near.plates_a_side, unit), hung_text(near, unit)
    return (
        f"{wanted} cannot be had within {solved.sought.within / UNIT[unit]:.1f} {unit}; the nearest is "
        f"{reached_text(near, wishes, unit)}, with {bands_text(near)} {hung} and {plates} {unit} a side{risk}"
    )


def reached_text(proposal: Proposal, wishes: Sequence[Wish], unit: Unit) -> str:
    """What a proposal gives of what was wanted."""
    said = []
    for wish in wishes:
        if wish.load is not None:
            said.append(f"{_one(proposal.loads[wish.of].value) / UNIT[unit]:.1f} {unit} {_AT[wish.of]}")
            continue
        share = _share_reached(proposal, wish)
        said.append(f"{'none' if share is None else f'{100 * share:.0f} %'} of {SHARE_OF[wish.of]}")
    return " and ".join(said)


def _share_reached(proposal: Proposal, wish: Wish) -> float | None:
    if wish.of == "maximum":
        weight = proposal.rig.weight_kg
        return max(abs(_one(proposal.loads[of].value) - weight) for of in ("bottom", "top")) / wish.maximum
    found = shares(proposal)[wish.of]
    return None if found is None else abs(found)


def _one(values: Array) -> float:
    return float(values[0])
