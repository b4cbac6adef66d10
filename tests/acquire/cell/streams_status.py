"""How devices say that the load stands or moves, which weight it is, which cell. All devices are invented."""

from typing import Any

from tests.acquire.cell.pulls import device, moves, still

MARK: dict[str, Any] = {"stable": still}


def _mark(i: int, stands: str, goes: str) -> str:
    return goes if moves(i) else stands


STREAMS = (
    device("two letters before", lambda i, x: f"{_mark(i, 'ST', 'US')},NT,{x:+08.2f}kg", **MARK),
    device("two letters before, at rest at zero", lambda i, x: f"ST,GS,{x:+08.2f}kg", stable=True),
    device("two letters behind", lambda i, x: f"{x:+08.2f} kg,{_mark(i, 'ST', 'US')}", **MARK),
    device("two letters behind a blank", lambda i, x: f"{x:8.2f} kg {_mark(i, 'ST', 'US')}", **MARK),
    device("a letter behind", lambda i, x: f"{x:8.2f} kg {_mark(i, 'S', 'D')}", **MARK),
    device("a letter glued to the unit", lambda i, x: f"{x:8.2f}kg{_mark(i, 'S', 'D')}", **MARK),
    device("a letter glued to pounds", lambda i, x: f"{x:8.2f}lb{_mark(i, 'S', 'M')}", "lb", **MARK),
    device("gross glued to the unit", lambda i, x: f"{x:7.2f}KGG"),
    device("net glued to the unit", lambda i, x: f"{x:7.2f}KGN"),
    device("net as a word behind the unit", lambda i, x: f"{x:7.2f} kg NET"),
    device("gross as a word glued before the unit", lambda i, x: f"{x:7.2f} GROSSkg"),
    device("gross as a word glued behind the unit", lambda i, x: f"{x:7.2f} kgGR"),
    device("gross as a letter glued to the number", lambda i, x: f"G{x:07.2f}"[:8], None),
    device("weight as a letter glued to the number", lambda i, x: f"W{x:.2f}kg"),
    device("letter, sign, number", lambda i, x: f"N{x:+.2f}kg", shown=lambda x: -x),
    device("a star while it moves", lambda i, x: f"{x:8.2f} kg{_mark(i, '', ' *')}", **MARK),
    device("a star while it stands", lambda i, x: f"{_mark(i, '*', ' ')}{x:8.2f} kg", **MARK),
    device(
        "a question mark while it moves",
        lambda i, x: f"{x:8.2f} kg {_mark(i, ' ', '?')}",
        stable=lambda i: False if moves(i) else None,
    ),
    device(
        "a tilde while it moves",
        lambda i, x: f"{_mark(i, '', '~')}{x:.2f} kg",
        stable=lambda i: False if moves(i) else None,
    ),
    device("a word before", lambda i, x: f"{_mark(i, 'stable', 'unstable')} {x:.2f} kg", **MARK),
    device("a word in brackets", lambda i, x: f"[{_mark(i, 'STILL', 'MOTION')}] {x:.2f} kg", **MARK),
    device("a flag as a key", lambda i, x: f"w={x:.2f}kg stable={_mark(i, '1', '0')}", **MARK),
    device("a flag in an object", lambda i, x: f'{{"kg":{x:.2f},"stable":{_mark(i, "true", "false")}}}', **MARK),
    device("gross and still", lambda i, x: f"{x:8.2f} kg G {_mark(i, 'S', 'M')}", **MARK),
    device("frame with a letter", lambda i, x: f"\x02{x:+08.2f}kg{_mark(i, 'G', 'M')}\x03", end="", **MARK),
    device("frame with a check byte behind", lambda i, x: f"\x02{x:+08.2f}kg\x03{chr(48 + i % 10)}", end=""),
    device("an index behind a slash", lambda i, x: f"{x:.2f} kg/1"),
    device("an index behind a slash, no unit", lambda i, x: f"{x:.2f}/2", None),
    device("number of the cell before", lambda i, x: f"cell 3: {x:.2f} kg"),
    device("name with a digit", lambda i, x: f"CH2 {x:.2f} kg"),
    device("name and version", lambda i, x: f"pm-7 v2.11: {x:.2f} kg"),
    device("fine, said of every line", lambda i, x: f"{2000 + 100 * i},{x:.2f},kg,ok"),
    device("a flag of faults that is zero", lambda i, x: f"kg={x:.2f} err=0 overload=0"),
    device("no overload, said in words", lambda i, x: f'{{"kg": {x:.2f}, "overload": false, "fault": null}}'),
    device("the peak beside", lambda i, x: f"peak {max(x, 38.44 if i >= 60 else x):.2f} kg now {x:.2f} kg"),
    device("the tare beside", lambda i, x: f"net {x:.2f} kg, tare 0.85 kg"),
    device("reply that stands or moves", lambda i, x: f"S {_mark(i, 'S', 'D')} {x:9.2f} kg", **MARK),
    device(
        "unit blank while it moves",
        lambda i, x: f"{x:8.2f} {_mark(i, 'kg', '')}",
        stable=lambda i: False if moves(i) else None,
    ),
)
