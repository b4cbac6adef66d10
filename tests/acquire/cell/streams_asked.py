"""Lines that may mean two things, and lines without a force: asked about, or said. All devices are invented."""

from dataclasses import replace

from tests.acquire.cell.kinds import LineOfAKind
from tests.acquire.cell.pulls import asked, device, pull


def _other(i: int) -> float:
    """A second cell's kilograms: it pulls later, and less."""
    return round(0.83 * pull(i - 30) if i > 30 else 0.0, 2)


STREAMS = (
    asked(device("two cells", lambda i, x: f"{_other(i):.2f} kg {x:.2f} kg"), "kg", "other, value kg"),
    asked(device("two cells, the first quiet", lambda i, x: f"0.00 kg {x:.2f} kg"), "kg", "other, value kg"),
    asked(device("two cells, named by sides", lambda i, x: f"L {x:.2f} kg R {_other(i):.2f} kg"), "L ", "value, other"),
    asked(
        replace(
            device("two cells to be added", lambda i, x: f"a={x:.2f} b={_other(i):.2f}"),
            value=lambda i: pull(i) + _other(i),
        ),
        "a=",
        "value kg, plus",
    ),
    asked(device("two numbers, no unit", lambda i, x: f"{_other(i):.2f};{x:.2f}", None), ";", "other, value"),
    asked(device("a number at rest beside", lambda i, x: f"21.75;{x:.2f}", None), "21.75", "constant, value"),
    asked(
        device("two cells that take turns", lambda i, x: f"hook A {x:.2f} kg\r\nhook B {_other(i):.2f} kg"),
        "hook",
        "hook A {value kg}",
        pattern=True,
    ),
    asked(
        device("a bare comma", lambda i, x: f"{x:.1f}".replace(".", ","), None, shown=lambda x: round(x, 1)),
        ",",
        "decimal-comma",
    ),
    asked(
        device("always above a thousand", lambda i, x: f"{x:,.1f} g", "g", shown=lambda x: round(2000 + 100 * x, 1)),
        "2,000.0 g",
        "thousands-comma",
    ),
    asked(device("a lone G", lambda i, x: f"{x:.2f} G", "g"), "G", "value g"),
    asked(
        device("always in brackets", lambda i, x: f"({x:.2f}) kg", "kg", shown=lambda x: x + 0.01),
        "(",
        "({value kg})",
        pattern=True,
    ),
    asked(device("of what it takes", lambda i, x: f"{x:.2f} of 50.00 kg"), "of", "value kg, other"),
    asked(
        device("mean beside, without names", lambda i, x: f"{x:.2f} {_other(i + 28):.2f} kg"), "kg", "value kg, other"
    ),
)


def _without(name: str, line: LineOfAKind, said: str) -> LineOfAKind:
    return replace(line, name=name, refused=said)


REFUSED = (
    _without("a length only", device("", lambda i, x: f"{1413 + round(x)} mm", None), "length"),
    _without("a stiffness", device("", lambda i, x: f"{x:.2f} N/mm", None), "N/mm"),
    _without("a torque", device("", lambda i, x: f"{x:.2f} Nm", None), "Nm"),
    _without("a voltage", device("", lambda i, x: f"{x:.3f} mV", None), "mV"),
    _without("a bridge's answer", device("", lambda i, x: f"{x / 20:.4f} mV/V", None), "mV/V"),
    _without("a temperature", device("", lambda i, x: f"{21 + x / 10:.1f} °C", None), "°C"),
    _without("a pressure", device("", lambda i, x: f"{x:.2f} kPa", None), "kPa"),
    _without("a share", device("", lambda i, x: f"{x:.1f} %", None), "%"),
)
