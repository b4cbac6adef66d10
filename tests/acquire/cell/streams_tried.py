"""Devices made up to be misread, by somebody who had not looked at how lines are taken apart. All are invented."""

from tests.acquire.cell.pulls import asked, device, moves, still


def _below(x: float) -> float:
    return -x


STREAMS = (
    device("a menu's number before", lambda i, x: f"3) tow {x:.2f} kg"),
    device("an address before", lambda i, x: f"@04 {x:+08.2f} kg"),
    device("an address in brackets", lambda i, x: f"[12] {x:.2f} kg"),
    device("a serial number before", lambda i, x: f"PX-00417 {x:.2f} kg"),
    device("a share of the range beside", lambda i, x: f"{x:.2f} kg ({x:.0f} %)"),
    device("the range beside, as its key", lambda i, x: f"{x:.2f} kg max=100"),
    device("an arrow before", lambda i, x: f"-> {x:.2f} kg"),
    device("a double arrow and a minus", lambda i, x: f">> {x:.2f} kg", shown=_below),
    device("a bar of hashes behind", lambda i, x: f"{x:6.2f} kg |{'#' * int(x / 4)}"),
    device("a bar of dashes behind, below zero", lambda i, x: f"{x:7.2f} kg |{'-' * int(-x / 4)}", shown=_below),
    device("a pipe on each side", lambda i, x: f"| {x:8.2f} | kg |"),
    device("attributes in a tag", lambda i, x: f'<tug kg="{x:.2f}" n="{i}"/>'),
    device("arrow for an equals sign", lambda i, x: f"zerre => {x:.2f} kg"),
    device("a colon with blanks on both sides", lambda i, x: f"ziehen  :  {x:.2f}  kg"),
    device("dots up to the number", lambda i, x: f"tow .......... {x:.2f} kg"),
    device("an underscore after a word", lambda i, x: f"tow_ {x:.2f} kg"),
    device("kilonewton with three places", lambda i, x: f"{x:.3f} kN", "kN", shown=lambda x: round(x / 101.97, 3)),
    device("newton in words, below zero", lambda i, x: f"{x:.1f} newtons", "N", shown=lambda x: -round(9.8 * x, 1)),
    device("dekanewton", lambda i, x: f"{x:.2f} daN", "daN", shown=lambda x: round(0.98 * x, 2)),
    device("tonnes with a lower-case letter", lambda i, x: f"{x:.4f} t", "t", shown=lambda x: round(x / 1000, 4)),
    device("ounces only", lambda i, x: f"{x:.1f} oz", "oz", shown=lambda x: round(35.27 * x, 1)),
    device("a counter behind a hash", lambda i, x: f"#{i:06d} {x:.2f} kg"),
    device("a counter behind a hash at the end", lambda i, x: f"{x:.2f} kg #{i % 256}"),
    device("millis glued to a letter", lambda i, x: f"T{100 * i} F{x:.2f}kg"),
    device("a time in square brackets", lambda i, x: f"[00:{i // 600:02d}:{i // 10 % 60:02d}] {x:.2f} kg"),
    device(
        "a time of an hour and more with hundredths", lambda i, x: f"1:{i // 600:02d}:{i // 10 % 60:02d}.40 {x:.2f} kg"
    ),
    device("a clock that wraps at sixteen bits, in keys", lambda i, x: f"ms={(65000 + 100 * i) % 65536} kg={x:.2f}"),
    device("a word that has kg in it", lambda i, x: f"kgraph {x:.2f} kg"),
    device("a word that has lb in it", lambda i, x: f"albino {x:.2f} lb", "lb"),
    device("capitals for the unit", lambda i, x: f"{x:8.2f}LBS", "lb"),
    device("a full stop behind the unit", lambda i, x: f"{x:.2f} kg."),
    device("standing in words of two", lambda i, x: f"{x:.2f} kg {'MOVING' if moves(i) else 'STABLE'}", stable=still),
    device("standing as a key of numbers", lambda i, x: f"kg:{x:.2f};still:{int(still(i))}", stable=still),
    device("standing before an equals sign", lambda i, x: f"{'ST' if still(i) else 'US'}={x:.2f} kg", stable=still),
    device("temperature with its sign before", lambda i, x: f"+21.5 C {x:.2f} kg"),
    device("volts of the cell in brackets", lambda i, x: f"{x:.2f} kg (3.71 V)"),
    device("a slope in newton a millimetre beside", lambda i, x: f"{x:.2f} kg 1.84 N/mm"),
    device("a rate behind a division", lambda i, x: f"{x:.2f} kg 10 /s"),
)

ASKED = (
    asked(device("slashes round the fields", lambda i, x: f"/pull/{x:.2f}/kg/"), "/", "value kg"),
    asked(device("a tag on each side", lambda i, x: f"<w>{x:.2f}</w><u>kg</u>"), "<w>", "value kg"),
    asked(
        device("a unit as the first of the line", lambda i, x: f"N {x:.1f}", "N", shown=lambda x: round(9.8 * x, 1)),
        "N ",
        "value N",
    ),
)
