"""The plan as an answer, and how it looks. Nothing is worked out or printed here."""

import re
from collections.abc import Mapping, Sequence

from calib.finding import Finding
from calib.units import Shown
from calib.use.answers.lineup import LineupAnswer, LineupDay, LineupTurn, NotUsed
from calib.use.answers.parts import doubts
from calib.use.answers.rigs import LoadAt
from calib.use.lineup.lineup import Lineup, Planned
from calib.use.report.layout import clean
from calib.use.report.rig_views import REMINDER
from calib.use.report.solve_views import (
    apart_text,
    bands_text,
    cautions_of,
    hold_text,
    hung_text,
    plates_text,
    wanted_loads,
    wish_text,
)
from calib.use.report.view import Grid, Section, View, length, load, other_units
from calib.use.rig.rig_answers import load_at, proposed, wanted
from calib.use.rig.rig_average import OFS, load_of
from calib.use.rig.solve import Proposal


def lineup_answer(
    lineups: Sequence[Lineup], pairs: Sequence[tuple[str, str]], not_used: Sequence[tuple[str, str]],
    findings: Sequence[Finding] = (),
) -> LineupAnswer:  # fmt: skip
    """The plan as an answer.

    Args:
        lineups: One for each day's exercise.
        pairs: Of the box, by name.
        not_used: Bands left out, each with why.
        findings: Of the box.
    """
    days = tuple(
        LineupDay(
            one.day or None,
            one.exercise or None,
            tuple(_turn(p) for p in one.turns),
            sum(p.moves for p in one.turns),
            one.fewer_moves,
        )
        for one in lineups
    )
    left = tuple(NotUsed(band, why) for band, why in not_used)
    return LineupAnswer(findings=doubts(findings), pairs_used=tuple(pairs), not_used=left, days_planned=days)


def _turn(planned: Planned) -> LineupTurn:
    turn, proposal = planned.turn, planned.proposal
    return LineupTurn(
        turn.lifter,
        turn.bottom,
        turn.top,
        tuple(wanted(wish) for wish in turn.wishes),
        None if proposal is None else proposed(proposal, planned.hold),
        planned.moves,
        planned.plates_moved,
        float(planned.beyond_kg),
        planned.reach or None,
        planned.why or None,
        _down(proposal),
    )


def _down(proposal: Proposal | None) -> Mapping[str, LoadAt] | None:
    """Loads coming down; None where a band's unloading was not measured."""
    if proposal is None or proposal.answer.down is None:
        return None
    return {of: load_at(load_of(proposal.answer, proposal.answer.down, of)) for of in OFS}


def lineup_view(answer: LineupAnswer, shown: Shown) -> View:
    """Who hangs what, in 80 columns: bands and plates of each, loads with their limits; cautions by number.

    Args:
        answer: The plan.
        shown: Units for people.
    """
    rows, lines, sections, cautions = [], list[str](), list[Section](), list[str]()
    for one in answer.days_planned:
        if len(answer.days_planned) > 1:
            rows.append((" ".join(filter(None, (one.day_named, one.exercise))) or "-", *[""] * 9))
        for turn in one.turns:
            rows.append(_row(turn, cautions, shown))
            lines += _doubts_of(turn, shown)
            sections.append(_section(turn, shown))
        lines.append(_changes(one))
    lines += [f"({n}) {text}." for n, text in enumerate(cautions, 1)]
    alike = {t.proposal.bands[0].arrangement for one in answer.days_planned for t in one.turns if t.proposal}
    hang = f"; all hang {next(iter(alike))}" if len(alike) == 1 else ""
    if hang:
        rows = [(*row[:2], row[2].rpartition(" ")[2], *row[3:]) for row in rows]
    also = other_units(shown).force
    loads = ("bottom", also, "top", also)
    whys = tuple(clean(f"{one.band}: {one.why}.") for one in answer.not_used)
    names = clean(", ".join(one.band for one in answer.not_used))
    left = whys if len(whys) < 2 else (f"Left out: {names} (why: --full).",)
    sections += [Section("left-out", "Left out", None, whys)] if len(whys) > 1 else []
    return View(
        kilos=f"Who hangs what{hang}. Loads in {shown.force} going up, limits 95 %.",
        grid=_within_80(("lifter", "bands", f"hole {shown.length}", "a side", *loads, "mean", "set"), rows),
        lines=(*lines, *left, REMINDER),
        findings=answer.findings,
        sections=tuple(sections),
    )


WIDE = 80
MOST_OF_NAME = 14  # characters, so that the number of a caution stays in sight
_MARK = re.compile(r" \([0-9,]+\)$")  # of a caution
MAY_BE_CUT = (0, 1, 3)  # names, bands, plates: in full with --full


def _within_80(headers: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> Grid:
    """The table in 80 columns: the widest of what may be cut is cut, with a ~ where something is missing."""
    widths = [max(len(row[n]) for row in (headers, *rows)) for n in range(len(headers))]
    while sum(widths) + 2 * len(widths) > WIDE and max(widths[n] for n in MAY_BE_CUT) > 6:
        widths[max(MAY_BE_CUT, key=lambda n: widths[n])] -= 1
    cut = [tuple(_cut(cell, width) for cell, width in zip(row, widths, strict=True)) for row in rows]
    return Grid(headers, tuple(cut))


def _cut(cell: str, width: int) -> str:
    """A cell no wider than that, with the numbers of its cautions.

    >>> _cut("Alexandra (1,2)", 12), _cut("20+10+5+2.5", 8), _cut("Bo (1)", 6)
    ('Alexa~ (1,2)', '20+10+5~', 'Bo (1)')
    """
    if len(cell) <= width:
        return cell
    mark = _MARK.search(cell)
    tail = mark[0] if mark else ""
    return f"{cell[: max(width - 1 - len(tail), 1)]}~{tail}"


def _row(turn: LineupTurn, cautions: list[str], shown: Shown) -> tuple[str, ...]:
    proposal = turn.proposal
    name = turn.lifter if len(turn.lifter) <= MOST_OF_NAME else f"{turn.lifter[: MOST_OF_NAME - 1]}~"
    if proposal is None:
        return (name, *["-"] * 9)
    marks = [
        _numbered(caution.text, cautions)
        for caution in cautions_of(proposal)
        if caution.code not in ("hitch-estimated", "no-unloading")
    ]
    mark = f" ({','.join(map(str, dict.fromkeys(marks)))})" if marks else ""
    known = wanted_loads(proposal, turn.wanted)
    hangs = proposal.bands[0]
    return (
        f"{name}{mark}",
        bands_text(proposal).replace("left ", "").replace(", right ", "|").replace(" + ", "+"),
        f"{hangs.arrangement} {length(hangs.anchor_height_m, shown).partition(' ')[0]}",
        plates_text(proposal.plates_a_side_kg, shown).replace(" + ", "+").replace(" x ", "x"),
        *(cell for of in ("bottom", "top") for cell in _in_both(proposal.loads[of].bar_load_kg, shown)),
        load(max(k.u95_mean_kg for k in known), shown),
        load(max(k.u95_next_set_kg for k in known), shown),
    )


def _in_both(kilograms: float, shown: Shown) -> tuple[str, str]:
    return load(kilograms, shown), load(kilograms, other_units(shown), 0)


def _numbered(text: str, cautions: list[str]) -> int:
    """The number of a caution; one that differs in its numbers alone is said once, the largest."""
    for n, said in enumerate(cautions):
        if _NUMBER.sub("#", said) == _NUMBER.sub("#", text):
            cautions[n] = max(said, text, key=lambda one: [float(x) for x in _NUMBER.findall(one)])
            return n + 1
    cautions.append(text)
    return len(cautions)


_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def _doubts_of(turn: LineupTurn, shown: Shown) -> list[str]:
    name = clean(turn.lifter)
    if turn.proposal is None:
        return [f"{name}: {turn.error}."]
    if turn.beyond_kg <= 0:
        return []
    said = " and ".join(wish_text(wish, shown) for wish in turn.wanted)
    miss = f"{load(turn.proposal.miss_kg, shown)} {shown.force}"
    reach = turn.would_reach or "none of the holes, pairs and plates tried would reach it"
    return [f"{name}: {said} is missed by {miss}; {reach}."]


def _changes(one: LineupDay) -> str:
    plates = sum(t.plates_moved for t in one.turns)
    more = f"; another plan may have up to {one.fewer_moves} fewer" if one.fewer_moves else ""
    named = clean(" ".join(filter(None, (one.day_named, one.exercise))))
    begin = f"{named}: from empty, " if named else "From empty: "
    return f"{begin}{one.moves} changes of band or anchor (each side counts), {plates} plates a side{more}."


def _down_words(down: Mapping[str, LoadAt] | None, shown: Shown) -> str:
    if down is None:
        return "Coming down is not known: unloading was not measured."
    low, high = (down[of] for of in ("bottom", "top"))
    mean, wide = (load(max(getattr(at, n) for at in (low, high)), shown) for n in ("u95_mean_kg", "u95_next_set_kg"))
    unit = shown.force
    ends = f"{load(low.bar_load_kg, shown)} {unit} at the bottom and {load(high.bar_load_kg, shown)} {unit} at the top"
    return f"Coming down: {ends} (mean +- {mean}, next set +- {wide})."


def _section(turn: LineupTurn, shown: Shown) -> Section:
    proposal, name = turn.proposal, clean(turn.lifter)
    if proposal is None:
        return Section(turn.lifter, name, None, (turn.error or "",))
    ends = f"bar from {length(turn.bottom_m, shown)} to {length(turn.top_m, shown)}"
    said = " and ".join(wish_text(wish, shown) for wish in turn.wanted)
    notes = (
        f"Wanted: {said}.",
        f"{bands_text(proposal)} {hung_text(proposal, shown)}; {ends}. {turn.moves} changes before.",
        _down_words(turn.loads_down, shown),
        apart_text(proposal, shown),
        hold_text(proposal.check_number, shown),
        *(f"{caution.text}." for caution in cautions_of(proposal)),
    )
    return Section(turn.lifter, name, None, notes)
