"""A profile in plain words: the curve as a table, the budget as sentences. Nothing is printed or drawn here."""

from calib.profile import table as curve_table
from calib.profile.document import Profile
from calib.profile.parts import METHOD_WORDS, Three
from calib.profile.table import BranchName
from calib.units import SHOWN, Shown
from calib.verbs.terminal.plain_text import clean, table, wrap

ROWS = 9  # lengths in the table: more do not fit a glance
STEPS = {  # what a tape is set to, in its own unit
    "m": (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0),
    "in": (0.5, 1.0, 2.0, 4.0, 6.0, 12.0, 24.0, 48.0),
}
NEGLIGIBLE = 0.02  # share of the variance below which sources are told together


def facts_text(profile: Profile) -> str:
    """Which band, when and how it was measured, what it loses, in a few sentences."""
    held, lost, band = profile.conditions, profile.hysteresis, profile.band
    when = f"Measured {profile.made.measured_at}" if profile.made.measured_at else "Day of measuring not noted"
    scale = f" ({clean(profile.gear.scale)})" if profile.gear.scale else ""
    parts = [
        f"{when}, {METHOD_WORDS[held.method]}{scale}",
        f"{held.cycles} cycle{'s' * (held.cycles != 1)}",
        f"{held.dwell_s:g} s at each point" if held.dwell_s is not None else "",
        f"{held.temperature_C:.0f} degrees C" if held.temperature_C is not None else "temperature not noted",
    ]
    said = ", ".join(filter(None, parts)) + f". Flat length {band.flat_length_m:.3f} m."
    if lost is not None:
        said += (
            f" From {lost.from_m:.2f} to {lost.to_m:.2f} m and back it loses {lost.energy_lost_J:.1f} J of the "
            f"{lost.energy_in_J:.1f} J put in: {100 * lost.loss_ratio:.1f} %, "
            f"give or take {200 * lost.u_loss_ratio:.1f} %."
        )
    lines = [wrap(said)] + ([wrap(f"Note: {clean(band.note)}.")] if band.note else [])
    return "\n".join(lines)


def curve_text(profile: Profile, shown: Shown = SHOWN["kg"], rows: int = ROWS) -> str:
    """Pull on the way out and back at some lengths, with the 95 % limits of the mean and of the next set.

    Args:
        profile: The band.
        shown: Units for people.
        rows: About how many lengths.
    """
    back = profile.branch("unloading") is not None
    body = [_row(profile, length, back, shown) for length in table_lengths(profile, shown, rows)]
    headers = ["metres" if shown.length == "m" else "inches", "stretch", f"out {shown.force}", "out N"]
    headers += ["+-mean", "+-next"]
    if back:
        headers += [f"back {shown.force}", "back N", "+-mean", "+-next"]
    return "\n".join([table(headers, body), "", _meaning(profile, shown)])


def table_lengths(profile: Profile, shown: Shown = SHOWN["kg"], rows: int = ROWS) -> list[float]:
    """Lengths round in the tape's unit over the tested range, both ends of it included. [m]"""
    branch = profile.branches.loading
    first, last = curve_table.tested_range(branch)
    steps = [shown.metre * step for step in STEPS[shown.length]]
    step = next((s for s in steps if (last - first) / s <= rows - 1), (last - first) / (rows - 1))
    start = int(first / step) + 1
    round_ones = [step * i for i in range(start, start + rows + 1)]
    near = 0.3 * step
    return [first, *(x for x in round_ones if first + near < x < last - near), last]


def _row(profile: Profile, length: float, back: bool, shown: Shown) -> list[str]:
    cells = [shown.tape(length), f"{length / profile.band.rest_half_path_m:.2f}"]
    names: tuple[BranchName, ...] = ("loading", "unloading") if back else ("loading",)
    for name in names:
        branch = profile.branch(name)
        if branch is None or not curve_table.holds(branch, length):
            cells += ["", "", "", ""]
            continue
        at = curve_table.estimate(branch, length)
        wide = profile.u95_next(at)
        cells += [
            shown.pull(at.force),
            f"{at.force:.1f}",
            shown.pull(at.u95),
            shown.pull(wide),
        ]
    return cells


def _meaning(profile: Profile, shown: Shown) -> str:
    days = "assumed, not measured" if profile.repeatability.between_day_assumed else "measured"
    strands = "both legs together" if profile.band.strands == 2 else "the single strand"
    return "\n".join(
        (
            wrap(
                f"Length is half-path: half of the band's closed path. Stretch is that over its "
                f"{shown.tape(profile.band.rest_half_path_m)} {shown.length} at rest. Pull is {strands}; a scale's "
                f"{shown.force} is {shown.newton:.6g} N. Limits are 95 %, in {shown.force}."
            ),
            wrap("how well the band's own curve is known", None, "  +-mean  ", "          "),
            wrap(
                f"what one set on another day may pull, round that (change from day to day {days})",
                None,
                "  +-next  ",
                "          ",
            ),
        )
    )


def budget_text(profile: Profile, shown: Shown = SHOWN["kg"]) -> str:
    """Where the uncertainty of the mean curve comes from, largest share in the middle first, the smallest together.

    A share is of the variance: sources add as squares.
    """
    lines = sorted(profile.budget, key=lambda line: -line.share.middle)
    if not lines:
        return "No budget is stored."
    small = [line for line in lines if max(line.share.low, line.share.middle, line.share.top) < NEGLIGIBLE]
    small = small if len(small) > 1 else []
    told = [line for line in lines if line not in small]
    body = [_source(line.source, _places(line.u_N), line.share.middle, _known_from(line.type), shown) for line in told]
    if small:
        parts = zip(*(_places(line.u_N) for line in small), strict=True)
        together = [sum(u**2 for u in part) ** 0.5 for part in parts]
        share = sum(line.share.middle for line in small)
        body.append(_source(f"{len(small)} smaller ones", together, share, "", shown))
    first = lines[0]
    mostly = f"half way along, mostly from {clean(first.source)} ({first.share.middle:.0%} of it)"
    headers = ("source", *(f"{place} {shown.force}" for place in ("low", "middle", "top")), "share", "known from")
    note = "Standard uncertainties (k = 1): twice that is about 95 %. Shares are of the variance, in the middle."
    return "\n".join(
        [
            wrap(f"Where the doubt about the mean comes from: {mostly}."),
            table(headers, body, "  "),
            wrap(note, None, "  ", "  "),
        ]
    )


def _places(u: Three) -> list[float]:
    return [u.low, u.middle, u.top]


def _source(name: str, u: list[float], share: float, known_from: str, shown: Shown) -> list[str]:
    return [name, *(shown.pull(one, 3) for one in u), f"{share:.0%}", known_from]


def _known_from(kind: str) -> str:
    return "A: these readings" if kind == "A" else "B: what is known of the gear"
