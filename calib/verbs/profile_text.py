"""A profile in plain words: the curve as a table, the budget as sentences. Nothing is printed or drawn here."""

from calib.profile import table as curve_table
from calib.profile.document import Profile
from calib.profile.table import BranchName
from calib.units import G_STANDARD, kilos
from calib.verbs.plain_text import clean, table, wrap

ROWS = 9  # lengths in the table: more do not fit a glance
STEPS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0)  # m: what a tape is set to


_METHODS = {"scale-in-line": "scale in line", "hung-weight": "hung weights", "anchor-on-scale": "anchor on a scale"}


def facts_text(profile: Profile) -> str:
    """Which band, when and how it was measured, what it loses, in a few sentences."""
    held, lost, band = profile.conditions, profile.hysteresis, profile.band
    when = f"Measured {profile.made.measured_at}" if profile.made.measured_at else "Day of measuring not noted"
    scale = f" ({clean(profile.gear.scale)})" if profile.gear.scale else ""
    parts = [
        f"{when}, {_METHODS[held.method]}{scale}",
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


def curve_text(profile: Profile, rows: int = ROWS) -> str:
    """Pull on the way out and back at some lengths, with the 95 % limits of the mean and of the next set.

    Args:
        profile: The band.
        rows: About how many lengths.
    """
    back = profile.branch("unloading") is not None
    body = [_row(profile, length, back) for length in table_lengths(profile, rows)]
    headers = ["metres", "stretch", "out kg", "out N", "+-mean", "+-next"]
    if back:
        headers += ["back kg", "back N", "+-mean", "+-next"]
    return "\n".join([table(headers, body), "", _meaning(profile)])


def table_lengths(profile: Profile, rows: int = ROWS) -> list[float]:
    """Round lengths over the tested range, both ends of it included. [m]"""
    branch = profile.branches.loading
    first, last = curve_table.tested_range(branch)
    step = next((s for s in STEPS if (last - first) / s <= rows - 1), (last - first) / (rows - 1))
    start = int(first / step) + 1
    round_ones = [step * i for i in range(start, start + rows + 1)]
    near = 0.3 * step
    return [first, *(x for x in round_ones if first + near < x < last - near), last]


def _row(profile: Profile, length: float, back: bool) -> list[str]:
    cells = [f"{length:.3f}", f"{length / profile.band.rest_half_path_m:.2f}"]
    names: tuple[BranchName, ...] = ("loading", "unloading") if back else ("loading",)
    for name in names:
        branch = profile.branch(name)
        if branch is None or not curve_table.holds(branch, length):
            cells += ["", "", "", ""]
            continue
        at = curve_table.estimate(branch, length)
        wide = profile.u95_next(at)
        cells += [
            kilos(at.force).removesuffix(" kg"),
            f"{at.force:.1f}",
            f"{at.u95 / G_STANDARD:.2f}",
            f"{wide / G_STANDARD:.2f}",
        ]
    return cells


def _meaning(profile: Profile) -> str:
    days = "assumed, not measured" if profile.repeatability.between_day_assumed else "measured"
    strands = "both legs together" if profile.band.strands == 2 else "the single strand"
    return "\n".join(
        (
            wrap(
                f"Length is half-path: half of the band's closed path. Stretch is that over its {_rest(profile)} at "
                f"rest. Pull is {strands}; a scale's kg is 9.80665 N. Limits are 95 %, in kg."
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


def _rest(profile: Profile) -> str:
    return f"{profile.band.rest_half_path_m:.3f} m"


def budget_text(profile: Profile) -> str:
    """Where the uncertainty of the mean curve comes from, largest share in the middle first.

    A share is of the variance: sources add as squares.
    """
    lines = sorted(profile.budget, key=lambda line: -line.share.middle)
    if not lines:
        return "No budget is stored."
    body = [
        [
            line.source,
            *(f"{u / G_STANDARD:.3f}" for u in (line.u_N.low, line.u_N.middle, line.u_N.top)),
            f"{line.share.middle:.0%}",
            _known_from(line.type),
        ]
        for line in lines
    ]
    first = lines[0]
    mostly = f"half way along, mostly from {clean(first.source)} ({first.share.middle:.0%} of it)"
    headers = ("source", "low kg", "middle kg", "top kg", "share", "known from")
    note = "Standard uncertainties (k = 1): twice that is about 95 %. Shares are of the variance, in the middle."
    return "\n".join(
        [
            wrap(f"Where the doubt about the mean comes from: {mostly}."),
            table(headers, body, "  "),
            wrap(note, None, "  ", "  "),
        ]
    )


def _known_from(kind: str) -> str:
    return "A: these readings" if kind == "A" else "B: what is known of the gear"
