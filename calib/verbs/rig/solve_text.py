"""What solve found, printed at a terminal: the best few, what has to be said beside each, what is not reachable."""

from collections.abc import Sequence
from pathlib import Path

from calib.use.report.rig_words import UNIT, Unit
from calib.use.report.solve_words import (
    HEADERS,
    apart_text,
    bands_text,
    caution_texts,
    hold_text,
    hung_text,
    missed_texts,
    row,
    share_text,
    wish_text,
)
from calib.use.rig.rig_hold import Hold
from calib.use.rig.solve import Solved
from calib.verbs.terminal.plain_text import heading, sentence, table, wrap


def say(solved: Solved, holds: Sequence[Hold | None], out: Path | None, unit: Unit) -> None:
    """Print it.

    Args:
        solved: What was found.
        holds: The check number of each proposal.
        out: Where the first was written.
        unit: Of weights.
    """
    sought = solved.sought
    wanted = " and ".join(wish_text(wish, unit) for wish in sought.wishes)
    print(wrap(f"Wanted: {wanted}, going up, within {sought.within / UNIT[unit]:.1f} {unit}."))
    print(wrap(f"Looked at {solved.looked_at} combinations of bands, ways to hang them and plates."))
    for text in _about_plates(solved, unit):
        print(wrap(text))
    print(f"\n{heading('The best')}")
    print(table(HEADERS, [row(n + 1, p, sought.wishes, unit) for n, p in enumerate(solved.proposals)]))
    if solved.more:
        print(wrap(f"Near enough too, shown with --few: {solved.more} more."))
    print(wrap(f'All in {unit}. "+- mean" and "+- next set": 95 % limits, the wider of what was wanted.'))
    print(wrap("Misses inside these limits are ties: then the sides that pull more alike come first, then what changes "
               "less in the rig, then fewer plates."))  # fmt: skip
    _say_each(solved, holds, unit)
    _say_missed(solved, unit)
    print()
    for text in _last_words(solved, out):
        print(wrap(text))


def _about_plates(solved: Solved, unit: Unit) -> list[str]:
    loads, texts = solved.sought.loads, []
    if loads.left_over:
        odd = ", ".join(f"{mass / UNIT[unit]:.4g}" for mass in loads.left_over)
        texts.append(f"Both sides are loaded alike, so one plate of {odd} {unit} each is left over.")
    if len(loads.totals) == 1 and not loads.left_over:
        texts.append(
            f"The plates stay as in the file, {loads.totals[0] / UNIT[unit]:.1f} {unit}; --plates tries others."
        )
    return texts


def _say_each(solved: Solved, holds: Sequence[Hold | None], unit: Unit) -> None:
    for n, (proposal, hold) in enumerate(zip(solved.proposals, holds, strict=True)):
        print(f"\n{heading(f'Number {n + 1}: {bands_text(proposal)} {hung_text(proposal, unit)}')}")
        print(wrap(share_text(proposal)))
        if not solved.sought.twins and len(proposal.rig.band) > 1:
            print(wrap(apart_text(proposal, unit)))
        print(wrap(hold_text(hold, unit)))
        for code, text in caution_texts(proposal):
            print(wrap(f"{sentence(text)} [{code}]", None, "  - ", "    "))


def _say_missed(solved: Solved, unit: Unit) -> None:
    texts = [sentence(text) for text in missed_texts(solved.missed, unit)]
    if solved.uneven:
        texts.append(f"{solved.uneven} pairs were passed over: left and right would pull too differently.")
    if texts:
        print(f"\n{heading('Not reachable')}")
    for text in texts:
        print(wrap(text, None, "  - ", "    "))


def _last_words(solved: Solved, out: Path | None) -> list[str]:
    texts = []
    if solved.sought.twins:
        texts.append(
            "Each band is taken to have an exact twin on the other side. Bands sold as equal differ by a tenth and "
            "more: measure both, and ask with --each-once."
        )
    written = f"the first is in {out}" if out else "--out writes the first"
    texts.append(f"Before you use one: bandcurve rig on its file says everything about it, both ways ({written}); "
                 "bandcurve rig check compares it with a scale.")  # fmt: skip
    texts.append(
        "These are reminders, not a safety plan: the rules of your place and the people qualified there decide."
    )
    return texts
