"""How answers about rigs look: the load on the bar, several lifters, a check with a scale."""

from collections.abc import Iterable

from calib.units import Shown
from calib.use.answers.parts import Doubt
from calib.use.answers.rigs import LifterLoads, LiftersAnswer, RigAnswer, RigCheckAnswer, RigWay
from calib.use.report.layout import clean
from calib.use.report.view import Grid, Section, View, both_loads, length, load, other_units

WORDS = {"up": "going up", "down": "coming down"}
ROWS = 5  # heights in a table
URGENT = ("bar-may-lift", "loading-order", "anchor-may-lift", "anchor-may-slide", "anchor-may-tip", "rig-disagrees")
REMINDER = "Reminders only: local rules and qualified people come first."


def rig_view(answer: RigAnswer, shown: Shown) -> View:
    """The load on the bar."""
    ways = {name: way for name, way in (("up", answer.up), ("down", answer.down)) if way is not None}
    return View(
        kilos=_ends_in_words(ways, shown),
        grid=_ends(answer, ways, shown),
        lines=(_weight(answer, shown), REMINDER),
        findings=urgent_first(answer.findings),
        sections=(*(_section(answer, name, way, shown) for name, way in ways.items()), _bands(answer)),
    )


def urgent_first(findings: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """What may hurt somebody before what may mislead; the order otherwise kept."""
    return tuple(sorted(findings, key=lambda f: f.code not in URGENT))


def _ends_in_words(ways: dict[str, RigWay], shown: Shown) -> str:
    """Bottom and top, once where both ways say the same: the loop closes where the lift turns."""
    said = {name: tuple(load(w.bar_load_kg[at], shown) for at in (0, -1)) for name, w in ways.items()}
    same = len(set(said.values())) == 1
    parts = [
        f"{low} {shown.force} at the bottom, {high} {shown.force} at the top" + ("" if same else f" {WORDS[name]}")
        for name, (low, high) in said.items()
    ]
    return f"On the bar: {parts[0] if same else '; '.join(parts)}"


def _weight(answer: RigAnswer, shown: Shown) -> str:
    bands = ", ".join(dict.fromkeys(f"{b.band} ({b.day or 'no day'})" for b in answer.used))
    return f"Bar and plates {both_loads(answer.bar_and_plates_kg, shown)}; {bands}; limits 95 %."


def _ends(answer: RigAnswer, ways: dict[str, RigWay], shown: Shown) -> Grid:
    """Bottom and top of each way."""
    rows = [
        (
            WORDS[name],
            length(answer.heights_m[at], shown),
            load(way.bar_load_kg[at], shown),
            load(way.bar_load_kg[at], other_units(shown)),
            load(way.u95_mean_kg[at], shown),
            load(way.u95_next_set_kg[at], shown),
        )
        for name, way in ways.items()
        for at in (0, -1)
    ]
    if len({row[1:] for row in rows}) == 2:  # the loop closes where the lift turns: both ways say the same
        rows = [("", *row[1:]) for row in rows[:2]]
    return Grid(("", "bar at", shown.force, other_units(shown).force, "+- mean", "+- next set"), tuple(rows))


def _section(answer: RigAnswer, name: str, way: RigWay, shown: Shown) -> Section:
    count = len(answer.heights_m)
    places = sorted({round(i * (count - 1) / (ROWS - 1)) for i in range(ROWS)})
    headers = ("bar at", "load", "+- mean", "+- next set", "left", "right", "bands", "tension of each, lean")
    rows = tuple(_row(answer, way, at, shown) for at in places)
    place = f"{answer.gravity_m_s2:.4f} m/s2" if answer.place_given else "9.80665 m/s2, as no place was given"
    notes = (
        f"All in {shown.force}: force over gravity ({place}). Added for each 10 cm of height: "
        f"{load(way.added_kg_per_10cm, shown)}.",
        "left, right: what the bands pull down on each side. bands: their share of the whole load. The load is for "
        "bands that slip round their pins; the limits include bands that grip.",
    )
    return Section(name, WORDS[name].capitalize(), Grid(headers, rows), notes)


def _row(answer: RigAnswer, way: RigWay, at: int, shown: Shown) -> tuple[str, ...]:
    share = way.band_share_of_load[at]
    weight = answer.gravity_m_s2
    leaning = ", ".join(f"{load(b.tension_N[at] / weight, shown)} at {b.angle_deg[at]:.0f} deg" for b in way.bands)
    return (
        length(answer.heights_m[at], shown),
        *(load(v[at], shown) for v in (way.bar_load_kg, way.u95_mean_kg, way.u95_next_set_kg)),
        *(load(way.sides[side].vertical_N[at] / weight, shown) for side in ("left", "right")),
        "-" if share is None else f"{100 * share:.0f} %",
        leaning,
    )


def _bands(answer: RigAnswer) -> Section:
    rows = tuple((f"{i}", b.side, b.band, b.arrangement, b.hangs_from, b.day or "-")
                 for i, b in enumerate(answer.used))  # fmt: skip
    return Section("bands", "Bands", Grid(("", "side", "band", "hangs", "from", "measured"), rows))


def lifters_view(answer: LiftersAnswer, shown: Shown, file: str) -> View:
    """Several lifters' loads: bottom, middle and top, both ways, and the widest limits along the lift.

    Args:
        answer: The loads.
        shown: Units for people.
        file: The rig.
    """
    headers = ("lifter", "bottom", "top", "up: bottom", "middle", "top", "down: bottom", "middle", "top", "+- mean",
               "+- next set")  # fmt: skip
    rows, doubts = [], []
    for one in answer.lifters:
        ends = (length(one.bottom_m, shown), length(one.top_m, shown))
        rows.append((one.lifter, *ends, *_lifter_cells(one, shown)))
        own = [f.text for f in one.rig.findings if f.code in _OWN and not one.error] if one.rig else []
        doubts += [f"{clean(one.lifter)}: {text}." for text in [*own, *([_not_told(one)] if one.error else [])]]
    return View(
        kilos=f"Load on the bar in {shown.force}; the limits are the widest along each lift.",
        grid=Grid(headers, tuple(rows)),
        lines=(*doubts, f"For cautions, ask for one lifter: bandcurve rig {file}."),
    )


_OWN = ("bar-may-lift", "rig-disagrees", "band-slack", "outside-tested", "over-working-stretch")


def _not_told(one: LifterLoads) -> str:
    """Why something is missing of a lifter's loads, and at which end."""
    if one.rig is None:
        return one.error or ""
    end = "top" if one.rig.heights_m[-1] < one.top_m - NEAR else "bottom"
    return f"the {end} is not known: {one.error}"


def _lifter_cells(one: LifterLoads, shown: Shown) -> list[str]:
    if one.rig is None:
        return ["-"] * 8
    ways = (one.rig.up, one.rig.down)
    cells = [text for way in ways for text in _three(way, one, shown)]
    there = [way for way in ways if way is not None]
    return [*cells, *(load(max(max(getattr(w, name)) for w in there), shown) for name in
                      ("u95_mean_kg", "u95_next_set_kg"))]  # fmt: skip


def _three(way: RigWay | None, one: LifterLoads, shown: Shown) -> list[str]:
    """At the bottom, in the middle and at the top of the lift, as far as it can be told."""
    if way is None or one.rig is None:
        return ["-"] * 3
    wanted = (one.bottom_m, (one.bottom_m + one.top_m) / 2, one.top_m)
    heights = one.rig.heights_m
    near = [min(range(len(heights)), key=lambda i: abs(heights[i] - at)) for at in wanted]
    return [
        load(way.bar_load_kg[i], shown) if abs(heights[i] - at) < NEAR else "-"
        for i, at in zip(near, wanted, strict=True)
    ]


NEAR = 1e-3  # [m] a height that is meant


ENOUGH = 3  # heights of a check


def check_view(answer: RigCheckAnswer, shown: Shown) -> View:
    """A check of a rig: whether it agrees, and the load on the bar in its light."""
    after = {name: way for name, way in (("up", answer.after.up), ("down", answer.after.down)) if way is not None}
    verdict = "Profile and rig agree" if answer.agrees else "Profile and rig do NOT agree"
    lines = (
        *((_level(answer),) if answer.agrees else ("Do not rely on the load until you find the cause.",)),
        *(("Three heights (low, middle, high) separate slack length, grip and level.",) * (_is_short(answer))),
        REMINDER,
    )
    unit, also = shown.force, other_units(shown).force
    findings = answer.findings if answer.agrees else [f for f in answer.findings if f.code == "rig-disagrees"]
    return View(
        kilos=f"{verdict}. {_ends_in_words(after, shown)}",
        grid=Grid(
            ("bar at", f"bands {unit}", also, "+-", f"shown {unit}", also, "+-", "apart"), _check_rows(answer, shown)
        ),
        lines=lines,
        findings=urgent_first(findings),
        sections=_learned(answer, shown) if answer.agrees else (),
        after=(f"Written: {answer.file}. Next: bandcurve rig {answer.file}",) if answer.file else (),
    )


def _is_short(answer: RigCheckAnswer) -> bool:
    return answer.agrees and len(answer.readings) < ENOUGH


def _check_rows(answer: RigCheckAnswer, shown: Shown) -> tuple[tuple[str, ...], ...]:
    """One line a height: the bands' pull as expected and as shown, each with its 95 % limits."""
    return tuple(
        (
            length(r.height_m, shown),
            *_both_and_limit(r.expected_N, 2 * r.u_expected_N, shown),
            *_both_and_limit(r.shown_N, 2 * r.u_shown_N, shown),
            shown.pull(r.shown_N - r.expected_N, 1),
        )
        for r in answer.readings
    )


def _both_and_limit(pull: float, u95: float, shown: Shown) -> tuple[str, ...]:
    return shown.pull(pull, 1), other_units(shown).pull(pull, 1), shown.pull(u95, 1)


def _level(answer: RigCheckAnswer) -> str:
    level, u = answer.level.relative, answer.level.u_relative
    return f"The bands' own pull: {100 * level:+.1f} +- {200 * u:.1f} % against their profiles."


def _learned(answer: RigCheckAnswer, shown: Shown) -> tuple[Section, ...]:
    """What the readings say of slack lengths, grip and level, and the load before and now."""
    how = f"Above, in {shown.force} with 95 % limits: the bands' pull as worked out and as shown ({answer.how})."
    notes = [how]
    if answer.grip is not None:
        share, u = answer.grip.share, answer.grip.u_share
        notes.append(f"Of the way from slipping to gripping round the fittings: {share:.2f} +- {2 * u:.2f}.")
    for one in answer.slack_length:
        was = "estimated" if one.slack_length_before_m is None else shown.tape(one.slack_length_before_m)
        now = f"{length(one.slack_length_m, shown)} +- {shown.tape(2 * one.u_slack_length_m)}"
        used = answer.after.used[one.number]
        side = "in the middle" if used.side == "both" else f"on the {used.side}"
        notes.append(f"Slack length of {used.band} {side}: {now} ({was} before).")
    headers = ("way", "bar at", "load before", "+- mean", "load now", "+- mean")
    return (
        Section("readings", "What the readings say", None, tuple(notes)),
        Section("loads", "The load on the bar", Grid(headers, _before_and_now(answer, shown))),
    )


def _before_and_now(answer: RigCheckAnswer, shown: Shown) -> tuple[tuple[str, ...], ...]:
    heights, rows = answer.after.heights_m, []
    for name, words in WORDS.items():
        before, now = (getattr(rig, name) for rig in (answer.before, answer.after))
        if before is None or now is None:
            continue
        for at in (0, len(heights) // 2, len(heights) - 1):
            cells = (load(x[at], shown) for way in (before, now) for x in (way.bar_load_kg, way.u95_mean_kg))
            rows.append((words, length(heights[at], shown), *cells))
    return tuple(rows)
