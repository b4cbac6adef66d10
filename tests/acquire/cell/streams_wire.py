"""What comes around the lines: ends, padding, prompts, logs at the start. All devices are invented."""

from tests.acquire.cell.pulls import device

BOOT = "".join(
    f"{line}\r\n"
    for line in (
        "", "bt: cold boot, cause 4", "load area 0 at 0x40078000, 13648 bytes", "entry 0x400805f0",
        "I (31) start: second stage 0.9.4", "I (32) start: built Feb 30 2031 11:22:33", "I (34) start: 2 cores",
        "I (38) start: bus 40 MHz", "I (43) start: mode 2", "I (48) start: store 4 MB",
        "I (52) table: area 0 9000 6000",
        "I (60) table: area 1 f000 1000", "I (67) table: area 2 10000 100000", "I (75) table: end",
        "I (80) copy: part 0 at 00010020, 47 k", "I (110) copy: part 1 at 0001e1c4, 9 k", "I (122) copy: part 2",
        "I (153) app: name pullmeter", "I (158) app: version 3", "I (163) app: made Feb 30 2031",
        "I (169) heap: 2 areas", "I (174) heap: 0 at 3FFAE6E0, 6 k", "I (180) heap: 1 at 3FFB2EE0, 180 k",
        "W (190) flash: larger than said", "I (196) run: begin", "I (201) bus: pins 21 and 22",
        "I (207) bridge: gain 128", "I (214) bridge: rate 10", "I (221) bridge: found at 0x2a",
        "I (228) zero: reads 8412", "I (310) zero: reads 8415", "I (390) zero: reads 8411", "I (470) zero: 8413",
        "I (480) run: goes",
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
