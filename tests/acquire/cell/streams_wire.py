"""What comes around the lines: ends, padding, prompts, logs at the start. All devices are invented."""

from tests.acquire.cell.pulls import device

BOOT = "".join(
    f"{line}\r\n"
    for line in (
        "", "cold boot, reason 4", "fetch part 7: 1234 long, to 5120", "jump 6400",
        "31> stage two, edition 0.9.4", "32> edition of Feb 30 2031", "34> workers: 2", "38> bus at 17 units",
        "43> way 3", "48> shelf: 6 drawers", "52> drawer 0: 110 to 240", "60> drawer 1: 240 to 255",
        "67> drawer 2: 300 to 900", "75> no more drawers", "80> unpack 0 from 4711, 47 of them",
        "110> unpack 1 from 5822, 9 of them", "122> unpack 2", "153> this is towmeter", "158> towmeter edition 3",
        "163> towmeter of Feb 30 2031", "169> room: 2 corners", "174> corner 0 at 77012, 6 free",
        "180> corner 1 at 99123, 181 free", "!190 shelf longer than its label", "196> work begins",
        "201> wires 21 and 22", "207> bridge: times 96", "214> bridge: beats 10", "221> bridge: answers at 42",
        "228> nought: 8412", "310> nought: 8415", "390> nought: 8411", "470> nought: 8413", "480> off we go",
    )
)  # fmt: skip

STREAMS = (
    device("carriage return only", lambda i, x: f"{x:.2f} kg", end="\r"),
    device("line feed only", lambda i, x: f"{x:.2f} kg", end="\n"),
    device("line feed, carriage return", lambda i, x: f"{x:.2f} kg", end="\n\r"),
    device("blank lines between", lambda i, x: f"{x:.2f} kg", end="\r\n\r\n"),
    device("noughts of padding before", lambda i, x: f"\0\0{x:.2f} kg"),
    device("noughts of padding behind", lambda i, x: f"{x:.2f} kg\0\0\0"),
    device("noughts of padding before the end", lambda i, x: f"{x:.2f} kg", end="\0\r\n"),
    device("a zero for an end", lambda i, x: f"{x:.2f} kg", end="\0"),
    device("blanks behind", lambda i, x: f"{x:.2f} kg   "),
    device("a prompt before", lambda i, x: f"> {x:.2f} kg"),
    device("no ends, fixed width", lambda i, x: f"{x:+08.2f}kg", end=""),
    device("no ends, a mark before", lambda i, x: f"#{x:.2f}kg", end=""),
    device("no ends, blanks between", lambda i, x: f"{x:.2f} ", None, end=""),
    device("no ends, semicolons between", lambda i, x: f"{x:.2f}kg;", end=""),
    device("a log of 34 lines before", lambda i, x: f"{x:.2f} kg", header=BOOT),
    device("a log of 34 lines before a clock", lambda i, x: f"{512 + 100 * i},{x:.2f}", None, header=BOOT),
    device("a byte-order mark before", lambda i, x: f"{x:.2f} kg", header="\ufeff"),
    device(
        "a menu before", lambda i, x: f"{x:.2f} kg", header="1 weigh\r\n2 zero\r\n3 set the factor\r\nchoice: 1\r\n"
    ),
)
