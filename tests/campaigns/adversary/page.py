"""The table on a terminal and the page in docs/."""

from tests.campaigns.adversary.case import Row
from tests.campaigns.adversary.scoring import RowScore

TITLES = (
    f"{'row':22} {'out':>5} {'back':>5} {'worst':>5} {'rms z':>5} {'err %':>5} {'next':>5} {'>5 u':>4} {'silent':>6} "
    "alarms refused"
)
GROUPS = {
    "plain": "Nothing odd",
    "band": "Bands",
    "gear": "Gear",
    "people": "Days and conditioning",
    "quick": "The first answer, four lengths",
    "series": "By tape alone, hooked to a known band",
    "law": "Published laws and tables",
}
HEAD = """# An adversary of the fit

Made by `python -m tests.campaigns.adversary --write docs/adversary.md` (seed {seed}; `--bands` says how many a row,
`--scores` keeps what is done, row by row). Rubber, gear and people are invented apart from the fit, by another hand,
and reach it as a user's would: run files in, `fit`, profiles out. Rows that fail are shown as failing.

How to read it: **out**, **back**: share of places over the tested lengths (eleven a branch) where the stated 95 %
limits hold the true pull; **worst** is the lowest such share at any one place. **rms z**: error in its own u.
**error**: rms, % of the pull at the longest length. **next**: share of places where the limits of the next set hold
one set on another day (which differs by 1 % of gain where the row says nothing else). **>5 u**: bands that are more
than five u off anywhere; **silent**: those beyond 6 u where no finding names a length within a tenth of the span.
**alarms**: bands in which something that was not so was said to be wrong. **refused**: bands without a curve. A row
fails where out, back or next is below 0.92, rms z above 1.15, a band silent beyond 6 u, alarms in more than one band
and 2 % of them, or a band refused; it is wide where out, back or next is above 0.98. With 100 bands a share of 0.95 is
itself uncertain by about 0.02 (k = 1), with 25 by 0.04, as what is off is off all along a band.

A band has a length of 0.6 to 1.05 m at rest, is pulled to 1.8 to 2.3 times that, and pulls 9 to 42 kg there. Load cell:
steps of 0.005 kg, gain known to 0.15 %, lengths to 1 mm. Hook scale: 0.05 kg, 1 %, 1.5 mm. Cycles differ by 0.4 % and
1 mm. Eight lengths, two cycles, where the row says nothing else. Unloading branches: a smooth share lost (invented), or
softening by the energy held (Ogden & Roxburgh, Proc. R. Soc. A 455 (1999) 2861).
"""


def line(s: RowScore) -> str:
    codes = f" [{' '.join(s.alarm_codes)}]" if s.alarm_codes else ""
    shares = f"{s.name:22} {s.out:5.3f} {s.back:5.3f} {s.worst:5.2f} {s.rms_z:5.2f} {s.error_percent:5.2f}"
    counts = f"{s.beyond_5:4d} {s.beyond_6_silent:6d} {s.alarms:6d} {s.refused:7d}"
    return f"{shares} {s.next_set:5.3f} {counts}  {s.verdict()}{codes}"


def table(scored: list[tuple[Row, RowScore]]) -> list[str]:
    lines = [
        "| row | bands | out | back | worst | rms z | error % | next | >5 u | silent | alarms | refused | |",
        "|---|---|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for _, s in scored:
        alarms = f"{s.alarms}{' (' + ', '.join(s.alarm_codes) + ')' if s.alarm_codes else ''}"
        verdict = s.verdict().replace("fails", "**fails**")
        shares = " | ".join(f"{v:.3f}" for v in (s.out, s.back))
        errors = f"{s.worst:.2f} | {s.rms_z:.2f} | {s.error_percent:.2f} | {s.next_set:.3f}"
        counts = f"{s.beyond_5} | {s.beyond_6_silent} | {alarms} | {s.refused}"
        lines.append(
            f"| {s.name} | {s.bands} | {shares} | {errors} | {counts} | {verdict} |".replace("| nan |", "| - |")
        )
    return lines


def words(scored: list[tuple[Row, RowScore]]) -> list[str]:
    return ["", *(f"- {row.name}: {row.what}. {row.source[0].upper()}{row.source[1:]}." for row, _ in scored)]


def page(scored: list[tuple[Row, RowScore]], seed: int) -> str:
    """The page: what fails first, then a table for each kind of row."""
    lines = [HEAD.format(seed=seed)]
    failing = [row.name for row, s in scored if s.failings()]
    wide = [row.name for row, s in scored if s.wide() and not s.failings()]
    lines.append(
        f"{len(failing)} of {len(scored)} rows fail: {', '.join(failing) or 'none'}. {len(wide)} more are only wide."
    )
    if len({s.bands for _, s in scored}) > 1:
        lines[-1] += " Not every row was played at the same number of bands, nor since the newest change of the fit."
    for group, title in GROUPS.items():
        mine = [(row, s) for row, s in scored if row.group == group]
        if mine:
            lines += ["", f"## {title}", "", *table(mine), *words(mine)]
    return "\n".join(lines) + "\n"
