"""What else stands in a line: clocks, counters, raw counts, temperatures, checksums. All devices are invented."""

from functools import reduce

from tests.acquire.cell.pulls import device, pull


def _exclusive_or(text: str) -> int:
    return reduce(lambda a, b: a ^ b, text.encode(), 0)


def _sum(text: str) -> int:
    return sum(text.encode()) & 0xFF


def _crc16(text: str) -> int:
    """Polynomial 0x1021, beginning with ones: the usual test string 123456789 gives 0x29B1."""
    crc = 0xFFFF
    for byte in text.encode():
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    return crc


def _starred(text: str) -> str:
    return f"{text}*{_exclusive_or(text):02X}"


def _raw(x: float) -> int:
    return round(302981 + 8388 * x)


STREAMS = (
    device("clock", lambda i, x: f"{6900 + 100 * i},{x:.2f}", None),
    device("clock that jitters", lambda i, x: f"{6900 + 100 * i + i * 7 % 3} {x:.2f} kg"),
    device("clock in microseconds", lambda i, x: f"{6900123 + 100004 * i},{x:.3f},kg"),
    device("clock in seconds", lambda i, x: f"{6.9 + 0.1 * i:.2f} s  {x:.2f} kg"),
    device("clock in whole seconds", lambda i, x: f"t={6 + i // 10} kg={x:.2f}"),
    device("clock of sixteen bits", lambda i, x: f"{(65000 + 100 * i) % 65536}:{x:.2f} kg"),
    device("time of day", lambda i, x: f"17:{40 + i // 600:02d}:{i // 10 % 60:02d}.{i % 10} {x:.2f} kg"),
    device("date and time", lambda i, x: f"2031-04-09T17:40:{i // 10 % 60:02d}.{i % 10}Z {x:.2f} kg"),
    device("date with slashes", lambda i, x: f"09/04/2031 17:40:{i // 10 % 60:02d} {x:.2f}kg"),
    device("raw, then kilograms, by keys", lambda i, x: f"t={6900 + 100 * i} raw={_raw(x)} kg={x:.2f}"),
    device("kilograms, then raw, by keys", lambda i, x: f"t={6900 + 100 * i} kg={x:.2f} raw={_raw(x)}"),
    device("raw in brackets behind", lambda i, x: f"{x:.2f} kg (raw {_raw(x)})"),
    device("raw only, by a key", lambda i, x: f"t={6900 + 100 * i} raw={x:.0f}", None, shown=lambda x: float(_raw(x))),
    device("battery beside", lambda i, x: f"{x:.2f} kg 3.{92 - i // 50} V"),
    device("battery as a share", lambda i, x: f"{x:.2f} kg bat {98 - i // 60}%"),
    device("temperature with a unit", lambda i, x: f"{x:.2f} kg, 24.{i // 30} °C"),
    device("temperature by a key", lambda i, x: f"temp:24.{i // 30} load:{x:.2f}", None),
    device("bridge voltage before", lambda i, x: f"{x / 50:.4f} mV/V {x:.2f} kg"),
    device(
        "length with a unit",
        lambda i, x: f"{x:.2f} kg {1031 + round(9 * x)} mm",
        length=lambda i: 1031.0 + round(9 * pull(i)),
    ),
    device(
        "length by a header",
        lambda i, x: f"{100 * i},{x:.2f},{1.031 + 0.009 * x:.3f}",
        None,
        header="ms,load,travel\r\n",
        length=lambda i: round(1.031 + 0.009 * pull(i), 3),
    ),
    device("counter", lambda i, x: f"#{1200 + i} {x:.2f} kg"),
    device("counter of eight bits", lambda i, x: f"{(250 + i) % 256},{x:.2f},kg"),
    device("counter and clock", lambda i, x: f"{i + 1},{6900 + 100 * i},{x:.2f},kg"),
    device(
        "counter, clock and check",
        lambda i, x: _starred(f"{i + 1},{6900 + 100 * i},{x:.0f}"),
        None,
        shown=lambda x: float(_raw(x)),
        header="# seq,ms,counts\r\n",
    ),
    device("check by exclusive or", lambda i, x: _starred(f"P,{x:.2f},kg")),
    device("check from behind the dollar", lambda i, x: "$" + _starred(f"PULL,{x:.2f},kg")),
    device("check by a sum, without a star", lambda i, x: f"{x:.2f} kg,{_sum(f'{x:.2f} kg,'):02X}"),
    device("check of sixteen bits", lambda i, x: f"{x:.2f} kg*{_crc16(f'{x:.2f} kg'):04X}"),
    device("name, clock, number", lambda i, x: f">pull:{6900 + 100 * i}:{x:.2f}", None),
    device("log with its level", lambda i, x: f"note <{6900 + 100 * i}> towmeter: pull {x:.2f} kg"),
    device("log in colour", lambda i, x: f"\x1b[0;36mnote <{6900 + 100 * i}> towmeter: {x:.2f} kg\x1b[0m"),
    device("log with a letter for its level", lambda i, x: f"n ({6900 + 100 * i}) towmeter: pull {x:.2f} kg"),
    device("coloured number", lambda i, x: f"pull \x1b[1m{x:.2f}\x1b[22m kg"),
    device("label on its own line", lambda i, x: f"the hook pulls\r\n{x:.2f} kg"),
    device("temperature on a line of its own", lambda i, x: f"board 31.{i % 4} °C\r\n{x:.2f} kg"),
    device("many channels, one unit", lambda i, x: f"{6900 + 100 * i},{511 + i % 3},{498 - i % 5},{x:.2f}kg"),
    device("factor beside", lambda i, x: f"{x:.2f} factor -6412.50", None),
    device("zero offset beside", lambda i, x: f"offset=8421 pull={x:.2f}", None),
    device("rate beside", lambda i, x: f"{x:.2f} N @ 10.{i % 3} Hz", "N", shown=lambda x: round(x * 9.80665, 2)),
    device("the same in two units", lambda i, x: f"{x:.2f} kg {x * 9.80665:.1f} N"),
    device(
        "columns under a header with words",
        lambda i, x: f"{100 * i};{x:.2f};{_raw(x)};21.{i // 50};good",
        "kg",
        header="ms;load_kg;adc;temp_C;state\r\n",
    ),
)
