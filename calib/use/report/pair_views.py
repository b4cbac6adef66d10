"""How answers about two bands or two days look: pair, compare, and both by tape alone."""

from calib.units import Shown
from calib.use.answers.bands import CompareAnswer, CompareByTapeAnswer, PairAnswer, SeriesAnswer
from calib.use.report.view import Grid, Section, View, length, other_units, over_the_tape, pull_in_both

ROWS = 5  # lengths in the table of a comparison


def pair_view(answer: PairAnswer, shown: Shown) -> View:
    """Left and right, best first."""
    best = answer.pairs[0]
    names = f"{'Kept together' if best.kept else 'Nearest alike'}: {' + '.join(best.bands)}"
    rows = tuple(
        (
            " + ".join(p.bands) + (", kept" if p.kept else ""),
            shown.pull(p.upper95_mean_N),
            other_units(shown).pull(p.upper95_mean_N, 1),
            f"{100 * p.upper95_mean_N / p.pull_N:.1f} %",
            shown.pull(p.upper95_next_set_N),
            shown.pull(p.max_difference_N),
            length(p.length_m - (answer.half_path_less_tape_m or 0.0), shown),
            p.stronger or "not clear",
        )
        for p in answer.pairs
    )
    headers = ("pair", f"apart {shown.force}", other_units(shown).force, "share", "one set", "seen", "at", "stronger")
    where = over_the_tape(answer.over_m, answer.half_path_less_tape_m, shown)
    left = tuple(f"Left over: {b}. Measure one more band to find it a partner." for b in answer.left_over)
    note = f"Loading, {where}; 95 %. Share: of the mean pull; one set: of one set; seen: the largest, and where."
    return View(
        kilos=f"{names}, apart at most {pull_in_both(best.upper95_mean_N, shown)}",
        grid=Grid(headers, rows),
        cut_rows="pair",
        lines=(note, *left),
        findings=answer.findings,
    )


def series_view(answer: SeriesAnswer, shown: Shown) -> View:
    """Bands hooked end to end."""
    said = []
    for one in answer.series:
        first, second = one.bands
        percent, limit = 100 * one.relative_difference, 100 * one.u95_mean_relative_difference
        more = "more" if percent > 0 else "less"
        sure = " Which one is stronger is not clear."
        if one.distinguishable:
            sure = f" The stronger is {first if percent > 0 else second} even so." if limit > abs(percent) else ""
        said.append(
            f"{first} pulls {abs(percent):.1f} +- {limit:.1f} % {more} than {second} at the same length, about "
            f"{length(one.length_m, shown)} (half-path; 95 % limits).{sure}"
        )
    note = "By tape alone; how one pull differs from another is assumed (0.6 % and 1.5 mm a band). Repeat it."
    law = (
        "Three lengths do not show how steep a band's curve is, so the limits allow for a lot. If both "
        "are plain rubber "
        "loops, --assume series_law=0.12 is enough."
    )
    return View(kilos=said[0], lines=(*said[1:], note, law), findings=answer.findings)


def compare_view(answer: CompareAnswer, shown: Shown) -> View:
    """Whether a band has changed."""
    level = answer.level
    percent, limit = 100 * (level.level_ratio - 1), 100 * level.u95_mean_level_ratio
    verdict = "It has changed" if answer.changed else "No change beyond chance and gear"
    more = "more" if percent > 0 else "less"
    pulls = f"{answer.band} pulls {abs(percent):.1f} +- {limit:.1f} % {more} than before"
    return View(
        kilos=f"{pulls}. {verdict}.",
        lines=(_when(answer, shown), _seen(answer), _flat(answer)),
        findings=answer.findings,
        after=("Use the new profile, and pair the band again.",) if answer.changed else (),
        sections=(_points(answer, shown),),
    )


def _when(answer: CompareAnswer, shown: Shown) -> str:
    later = "the same day" if answer.days == 0 else f"{answer.days} day{'s' * (answer.days != 1)} later"
    days = "after an unknown time" if answer.days is None else later
    where = over_the_tape(answer.over_m, answer.half_path_less_tape_m, shown)
    return f"{days[0].upper()}{days[1:]}, loading, {where}."


def _seen(answer: CompareAnswer) -> str:
    largest = [(kind, u) for kind, u in answer.doubt_from.items() if u >= 0.0005][:3]
    from_what = ", ".join(f"{kind} {100 * u:.1f} %" for kind, u in largest)
    plate = f" The known plate {answer.check_load} was weighed both times and is used." if answer.check_load else ""
    seen = f"A change of {100 * answer.smallest_change:.1f} % or more would be noticed 19 times in 20."
    return f"{seen} Uncertainty: {from_what} (each k = 1).{plate}"


def _flat(answer: CompareAnswer) -> str:
    longer, u = answer.flat_length_change_m, answer.u_flat_length_change_m
    said = f"Flat length {1000 * longer:+.0f} +- {2000 * u:.0f} mm."
    if answer.loss_ratio_change is not None:
        wide = 200 * (answer.u_loss_ratio_change or 0.0)
        said += f" Loss {100 * answer.loss_ratio_change:+.1f} +- {wide:.1f} percentage points."
    return said


def _points(answer: CompareAnswer, shown: Shown) -> Section:
    rows, offset = [], answer.half_path_less_tape_m or 0.0
    for branch in ("loading", "unloading"):
        points = [p for p in answer.points if p.branch == branch]
        for p in points[:: max(1, (len(points) - 1) // (ROWS - 1))]:
            cells = (shown.tape(p.length_m - offset), shown.pull(p.difference_N), shown.pull(p.u95_mean_N))
            rows.append((branch, *cells, f"{p.E_n + 0.0:.2f}".replace("-0.00", "0.00")))
    note = "E_n is the difference over its 95 % limits: above 1 in size, that point alone lies outside them."
    taped = "half-path" if answer.half_path_less_tape_m is None else "tape"
    headers = ("branch", f"{taped} {shown.length}", f"new - old, {shown.force}", "+-", "E_n")
    return Section("points", "Length by length", Grid(headers, tuple(rows)), (note,))


def changed_by_tape_view(answer: CompareByTapeAnswer, shown: Shown) -> View:
    """Whether a band has changed against one kept in a drawer."""
    percent, limit = 100 * (answer.level.level_ratio - 1), 100 * answer.level.u95_mean_level_ratio
    verdict = "It has changed" if answer.changed else "That is no more than chance"
    return View(
        kilos=f"{answer.band} against {answer.reference}, about {length(answer.length_m, shown)} (half-path): pulls "
        f"{abs(percent):.1f} +- {limit:.1f} % {'more' if percent > 0 else 'less'} than before. "
        f"{verdict}, provided {answer.reference} has not changed."
    )
