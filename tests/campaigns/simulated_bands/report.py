"""The campaign's tables as Markdown, with what was kept and what was broken. Nothing is computed here."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.records import Array
from tests.campaigns.simulated_bands.bounds import broken, broken_by_slips
from tests.campaigns.simulated_bands.scoring import Score, SlipScore
from tests.campaigns.simulated_bands.worlds import World


@dataclass(frozen=True)
class WorldResult:
    """All that the campaign learnt of one world."""

    world: World
    score: Score
    slips: list[SlipScore]

    @property
    def broken(self) -> list[str]:
        """The bounds it does not keep."""
        return [*broken(self.world, self.score), *broken_by_slips(self.world, self.slips)]


HEAD = """# Coverage: what the stated uncertainty is worth

Written by `python -m tests.campaigns.simulated_bands --write docs/coverage.md`; {bands} bands a world, seeds fixed
beforehand. The bands, unloading branches and gear are simulated and none follows the law that is fitted
(`tests/campaigns/simulated_bands/laws.py`, `worlds.py`). Scale gain, zero and tape are drawn afresh for each band,
as large as the head of its run says; cycles differ in gain and in where the loop is hooked, and the fit
is told nothing of how much. The truth is the band's own curve, the mean over cycles. Worlds with a star
are kept aside: nothing in the fit may be chosen by looking at them.

A 95 % interval should hold the truth in 93-98 % of bands, taken over low, middle and top of both branches
together, and in 90-99 % at each place (one cycle: 90-99 % and 86-99.5 %); the rms of error / u should be
0.75-1.15 (one cycle: 0.70-1.25). `between` is the coverage over {between} lengths of each branch. `own`
is what is left when scale gain, weights and tape are perfect, against the part of u that is the band's
own. Errors and u are in per cent of the largest force.
"""

SLIP_HEAD = """
## One wrong reading

One reading of each run, chosen by chance, is made wrong by a factor. Found: left out and named by its
row. To be found: ten times always; 20 % in 95 % of runs (one cycle: 80 %). Accused: runs in which a good
reading was accused beside it. Moved: runs in which the curve moved by more than its U at low, middle or
top of a branch; by the U of the run without the slip, and by the U that is stated with the slip in it.
"""


def as_markdown(results: Sequence[WorldResult], bands: int, between: int) -> str:
    """The whole page."""
    lines = [HEAD.format(bands=bands, between=between), *_score_table(results)]
    if any(r.slips for r in results):
        lines += [SLIP_HEAD, *_slip_table(results)]
    return "\n".join([*lines, "", *_verdict(results), ""])


def _score_table(results: Sequence[WorldResult]) -> list[str]:
    lines = [
        "| world | lengths x cycles | coverage | at low, middle, top out; back | between | error/u | error % | u % "
        "| own coverage | own error/u | false alarms % | kept |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for r in results:
        w, s = r.world, r.score
        cells = (
            _name(w),
            f"{w.lengths} x {w.cycles}",
            f"{s.coverage:.3f}",
            _places(s.at_places),
            f"{s.between:.3f}",
            f"{s.error_over_u:.2f}",
            f"{100 * s.error:.2f}",
            f"{100 * s.claimed:.2f}",
            f"{s.own_coverage:.3f}",
            f"{s.own_error_over_u:.2f}",
            f"{100 * s.false_alarms:.1f}",
            "no" if r.broken else "yes",
        )
        lines.append(f"| {' | '.join(cells)} |")
    return lines


def _slip_table(results: Sequence[WorldResult]) -> list[str]:
    lines = [
        "| world | factor | runs | found % | accused % | moved %, U without | U stated | largest shift / U without |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in results:
        lines += [
            f"| {_name(r.world)} | x{s.factor:g} | {s.runs} | {100 * s.found:.1f} | {100 * s.others:.1f} "
            f"| {100 * s.moved:.1f} | {100 * s.beyond:.1f} | {s.worst:.1f} |"
            for s in r.slips
        ]
    for many, words in ((True, "two or more cycles"), (False, "one cycle")):
        kind = [s for r in results for s in r.slips if (r.world.cycles > 1) is many and s.factor != 10]
        if kind:
            lines.append(f"| all with {words} | 20 % | {sum(s.runs for s in kind)} | {_pooled(kind)} | |")
    alarms = float(np.mean([r.score.false_alarms for r in results]))
    return [*lines, "", f"False alarms in clean runs, all worlds together: {100 * alarms:.1f} %."]


def _pooled(scores: Sequence[SlipScore]) -> str:
    """Found, accused, moved by either U, per cent of all runs together."""
    shares = np.array([[s.found, s.others, s.moved, s.beyond] for s in scores])
    runs = [s.runs for s in scores]
    return " | ".join(f"{100 * share:.1f}" for share in np.average(shares, axis=0, weights=runs))


def _name(world: World) -> str:
    return f"{world.name}{' *' if world.kept_aside else ''}"


def _places(values: Array) -> str:
    out = [f"{v:.2f}" for v in values]
    return "; ".join(", ".join(out[i : i + 3]) for i in range(0, len(out), 3))


def _verdict(results: Sequence[WorldResult]) -> list[str]:
    failed = [r for r in results if r.broken]
    if not failed:
        return ["All bounds are kept."]
    return ["Not kept:", ""] + [f"- {_name(r.world)}: {'; '.join(r.broken)}" for r in failed]
