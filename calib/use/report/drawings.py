"""Small drawings, made by code, of what hands have to do: where the tape goes, what hangs where, how a band is hung.

Each is a standalone SVG in one stroke weight that follows the text colour (`currentColor`), readable in grey, with a
title for screen readers. Numbers in millimetres of an invented band; nothing is measured here.
"""

from collections.abc import Callable
from html import escape
from math import cos, pi, sin

BAND = 'fill="none" stroke="currentColor" stroke-width="7" stroke-linejoin="round" stroke-linecap="round" opacity="0.8"'
LINE = 'fill="none" stroke="currentColor" stroke-width="2"'
TAPE = 'fill="none" stroke="currentColor" stroke-width="2.5" stroke-dasharray="1 6" stroke-linecap="round"'


def drawing(name: str) -> str:
    """One drawing as SVG text.

    Args:
        name: One of `NAMES`.

    Raises:
        KeyError: There is none of that name.
    """
    words, height, draw = _DRAWINGS[name]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 320 {height}" role="img" class="drawing">'
        f"<title>{escape(words)}</title>{draw()}</svg>"
    )


def file_of(name: str) -> str:
    """A drawing as a file of the guide: the same, dark on white wherever it is shown."""
    made = drawing(name).replace('class="drawing"', 'width="420" style="background:#fff"', 1)
    return made.replace("currentColor", "#222222").replace("><", ">\n<") + "\n"


def drawing_caption(name: str) -> str:
    """What a drawing shows, in a sentence."""
    return _DRAWINGS[name][0]


# --- pieces


def _text(x: float, y: float, text: str, anchor: str = "middle") -> str:
    font = 'font-family="system-ui, sans-serif" font-size="14" fill="currentColor"'
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" {font}>{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, style: str = LINE) -> str:
    return f'<path d="M{x1:g} {y1:g}L{x2:g} {y2:g}" {style}/>'


def _pin(x: float, y: float, radius: float = 11) -> str:
    return f'<circle cx="{x:g}" cy="{y:g}" r="{radius:g}" fill="currentColor"/>'


def _box(x: float, y: float, width: float, height: float) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" rx="3" {LINE}/>'


def _loop(x1: float, y1: float, x2: float, y2: float, radius: float = 15) -> str:
    """A band round two pins: straight legs and a half turn at either end."""
    along = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    nx, ny = -(y2 - y1) / along * radius, (x2 - x1) / along * radius
    turn = f"A{radius:g} {radius:g} 0 0 1"
    return (
        f'<path d="M{x1 + nx:g} {y1 + ny:g}{turn} {x1 - nx:g} {y1 - ny:g}'
        f'L{x2 - nx:g} {y2 - ny:g}{turn} {x2 + nx:g} {y2 + ny:g}Z" {BAND}/>'
    )


def _between(x1: float, x2: float, y: float, label: str, foot: float) -> str:
    """A tape from mark to mark, below what it measures."""
    marks = _line(x1, foot, x1, y + 7) + _line(x2, foot, x2, y + 7)
    return marks + _line(x1, y, x2, y, TAPE) + _text((x1 + x2) / 2, y + 20, label)


# --- where the tape goes


def _over_pins(x1: float, x2: float, label: str) -> Callable[[], str]:
    return lambda: _loop(50, 45, 270, 45) + _pin(50, 45) + _pin(270, 45) + _between(x1, x2, 84, label, 50)


def _flat() -> str:
    band = f'<path d="M30 40H290" {BAND}/><path d="M30 54H290" {BAND}/>'
    return band + _between(27, 293, 88, "end to end, lying flat", 46)


# --- what hangs where


def _scale_in_line() -> str:
    hook = _box(124, 26, 48, 38) + _text(148, 50, "kg")
    return (
        _line(20, 10, 20, 80)
        + _pin(30, 45)
        + _loop(30, 45, 100, 45, 14)
        + _pin(100, 45, 10)
        + _line(110, 45, 124, 45)
        + hook
        + _line(172, 45, 236, 45)
        + f'<path d="M236 45l34 -14v28z" {LINE}/>'
        + _text(30, 100, "anchor")
        + _text(148, 100, "scale")
        + _text(256, 100, "strap, you")
    )


def _hung_weight() -> str:
    return (
        _line(110, 12, 210, 12)
        + _pin(160, 24, 10)
        + _loop(160, 24, 160, 120, 14)
        + _pin(160, 120, 10)
        + _line(160, 130, 160, 146)
        + _box(126, 146, 68, 16)
        + _box(120, 164, 80, 18)
        + _text(212, 176, "plates", "start")
        + _line(96, 24, 96, 120, TAPE)
        + _text(88, 78, "tape", "end")
    )


def _anchor_on_scale() -> str:
    return (
        _line(110, 14, 210, 14)
        + _text(218, 20, "pulled up", "start")
        + _pin(160, 24, 10)
        + _loop(160, 24, 160, 116, 14)
        + _pin(160, 116, 10)
        + _box(124, 128, 72, 34)
        + _text(160, 150, "weight")
        + _box(106, 164, 108, 12)
        + _text(222, 176, "floor scale", "start")
    )


# --- how a band is hung in a rig: the bar on top, the anchor below


def _bar() -> str:
    return _pin(160, 30, 14) + _text(186, 36, "bar", "start")


def _straight() -> str:
    return _loop(160, 30, 160, 150, 17) + _bar() + _pin(160, 150) + _text(186, 156, "anchor", "start")


def _doubled() -> str:
    legs = "".join(f'<path d="M{x} 30L{x2} 150" {BAND}/>' for x, x2 in ((144, 148), (152, 154), (168, 166), (176, 172)))
    fold = f'<path d="M148 150A12 12 0 0 0 172 150M154 150A6 6 0 0 0 166 150" {BAND}/>'
    return legs + fold + _bar() + _pin(160, 150, 6) + _text(186, 158, "folded here", "start")


def _choked() -> str:
    hitch = f'<path d="M146 132Q160 122 174 132" {BAND}/>'
    return (
        _loop(160, 30, 160, 150, 15) + hitch + _bar() + _pin(160, 150, 8) + _text(186, 136, "through itself", "start")
    )


def _spread() -> str:
    sides = "".join(_loop(160, 30, x, 150, 9) for x in (105, 215))
    return sides + _bar() + _pin(105, 150, 7) + _pin(215, 150, 7) + _text(160, 178, "two pegs, fore and aft")


def _across() -> str:
    path = f'<path d="M50 30L120 150H200L270 30" {BAND}/>'
    return (
        path
        + _line(24, 30, 296, 30)
        + _pin(50, 30, 9)
        + _pin(270, 30, 9)
        + _text(160, 22, "bar")
        + _text(160, 178, "under the feet")
    )


def _from_above() -> str:
    return (
        _line(100, 14, 220, 14)
        + _pin(160, 24, 9)
        + _loop(160, 24, 160, 140, 14)
        + _pin(160, 140, 12)
        + _text(186, 146, "bar", "start")
        + _text(228, 20, "rack", "start")
    )


def _let_go() -> str:
    """Where not to stand: in the line of the band."""
    ring = "".join(
        _line(264 + 8 * cos(a), 45 + 8 * sin(a), 264 + 16 * cos(a), 45 + 16 * sin(a))
        for a in (k * pi / 3 for k in range(6))
    )
    face = '<circle cx="160" cy="104" r="13" fill="none" stroke="currentColor" stroke-width="2"/>'
    return _loop(40, 45, 240, 45) + _pin(40, 45) + ring + face + _text(160, 140, "eyes covered, beside the line")


_DRAWINGS: dict[str, tuple[str, int, Callable[[], str]]] = {
    "band-inner": (
        "Tape from inside edge to inside edge: from where the band touches one pin to where it touches the other.",
        112,
        _over_pins(39, 281, "inside edge to inside edge"),
    ),
    "band-outer": ("Tape over the outside of the band, end to end.", 112, _over_pins(31, 289, "outside to outside")),
    "centres": (
        "Tape from the centre of one pin to the centre of the other.",
        112,
        _over_pins(50, 270, "centre to centre"),
    ),
    "flat": ("The band lies flat and slack; the tape runs end to end.", 116, _flat),
    "scale-in-line": ("Anchor, band, hanging scale, strap, in one line.", 110, _scale_in_line),
    "hung-weight": ("The band hangs from a pin and carries plates; the tape stands beside it.", 190, _hung_weight),
    "anchor-on-scale": ("The band is tied to a weight on a floor scale and pulled up.", 186, _anchor_on_scale),
    "straight": ("One band from the anchor to the sleeve.", 170, _straight),
    "doubled": ("The band is folded round the anchor, both ends on the sleeve.", 170, _doubled),
    "choked": ("The band is hitched to the anchor through itself.", 170, _choked),
    "spread": ("The band is folded over the bar, its ends on two pegs.", 186, _spread),
    "across": ("One band from sleeve to sleeve under the feet.", 186, _across),
    "from-above": ("The band hangs from the rack and takes weight off the bar.", 166, _from_above),
    "stand-clear": ("Cover your eyes and stay beside the line of a stretched band.", 150, _let_go),
}

NAMES = tuple(_DRAWINGS)
