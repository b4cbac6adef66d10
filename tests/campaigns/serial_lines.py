"""Speed of the line reader, load and memory of `listen`, torn bytes, a search for a crash.

`python -m tests.campaigns.serial_lines`

Without an option: lines a second of every kind. `--fuzz N`: made-up streams. `--torn`: every device with one byte in a
hundred torn, for a hundred seconds. `--load SECONDS`: the live screen at 80 samples a second. `--hour`: an hour at 80 a
second through the whole command, as fast as it goes.
"""

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calib.acquire.cell.line_agreement import LineReader
from calib.acquire.cell.line_format import Chosen
from calib.acquire.cell.listening import Listening
from calib.acquire.cell.port import open_source
from calib.acquire.cell.stream_figures import StreamFigures
from tests.acquire.cell.cable import Cable
from tests.acquire.cell.kinds import KINDS
from tests.acquire.cell.pulls import LINES as PULL
from tests.acquire.cell.test_line_track import torn
from tests.acquire.cell.test_lines import PIECE, no_crash
from tests.acquire.cell.test_streams import PLAIN
from tests.verbs.pseudo_terminal import Terminal

TORN_LINES = 1000  # a hundred seconds
LINES = 20_000  # of each kind
CHUNK = 64  # bytes at a time, as they come from a port
RATE = 80  # samples a second
HOUR = 3600  # s


def main() -> None:
    """Run what was asked for and print its table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fuzz", type=int, default=0, metavar="N", help="try N made-up streams")
    parser.add_argument("--torn", action="store_true", help="torn bytes in every device's lines")
    parser.add_argument("--load", type=float, default=0, metavar="SECONDS", help="load of the live screen")
    parser.add_argument("--hour", action="store_true", help="memory over an hour of samples")
    asked = parser.parse_args()
    if asked.fuzz:
        search_for_a_crash(asked.fuzz)
    elif asked.torn:
        tear_everything()
    elif asked.load:
        for bytewise in (False, True):
            measure_load(asked.load, bytewise=bytewise)
    elif asked.hour:
        measure_memory()
    else:
        measure_speed()


def measure_speed() -> None:
    """Lines a second of each kind, with every check on."""
    for name, rate, readings in line_rates():
        print(f"{name:44} {rate:8.0f} lines/s  ({readings} readings)")


def line_rates(every: int = 1) -> Iterator[tuple[str, float, int]]:
    """Of each kind, or of every so many, its name, lines read in a second of computing, and readings among them."""
    for kind in (KINDS + PLAIN)[::every]:
        piece = kind.stream(LINES if kind in KINDS else PULL)
        reader = LineReader(Chosen(column=kind.column))
        reader.feed(piece, 0.0)
        pieces = 1 if kind in KINDS else LINES // PULL
        data = pieces * piece.removeprefix(kind.header.encode())
        begun = time.process_time()
        readings = sum(
            record.kind == "reading"
            for begin in range(0, len(data), CHUNK)
            for record in reader.feed(data[begin : begin + CHUNK], 0.0)
        )
        took = time.process_time() - begun
        lines = pieces * (LINES if kind in KINDS else PULL) * (kind.line(3).count("\n") + 1)
        yield kind.name, lines / took, readings


def tear_everything() -> None:
    """Every device with one byte in a hundred torn: false restarts and overloads, readings nobody sent."""
    total: Counter[str] = Counter()
    for kind in PLAIN:
        heard = LineReader()
        heard.feed(kind.stream(PULL), 0.0)
        roles = heard.format.roles if heard.format else ()
        at = range(TORN_LINES) if {"clock", "sequence"} & set(roles) else [i % PULL for i in range(TORN_LINES)]
        lines = [(kind.line(i) + kind.end).encode() for i in at]
        data = kind.header.encode() + b"".join(lines[:60]) + torn(b"".join(lines[60:]), random.Random(kind.name))
        reader = LineReader()
        records = [r for k in range(0, len(data), CHUNK) for r in reader.feed(data[k : k + CHUNK], 0.0)]
        meant = {(kind.value(i), kind.unit) for i in at}
        readings = [r for r in records if r.kind == "reading"]
        wrong = sum((r.counts if r.unit is None else r.value, r.unit) not in meant for r in readings)
        total.update([r.kind for r in records] + ["not meant"] * wrong + ["line"] * TORN_LINES)
    print(", ".join(f"{kind} {count}" for kind, count in total.items()))


def search_for_a_crash(examples: int) -> None:
    """Streams made up of bytes, of known kinds of line and of what resembles them."""
    checks = [HealthCheck.too_slow]
    search = settings(max_examples=examples, deadline=None, database=None, suppress_health_check=checks)
    search(given(st.lists(PIECE, max_size=8))(no_crash))()
    print(f"no crash in {examples} streams")


def measure_load(seconds: float, *, bytewise: bool) -> None:
    """Share of one core that `listen` takes with its screen, between two moments well after its start."""
    with tempfile.TemporaryDirectory() as folder:
        cable = Cable(Path(folder) / "cell")
        terminal = Terminal(["listen", str(cable.link)], Path(folder), term="xterm-256color")
        used: list[float] = []
        begun = time.monotonic()
        for i in range(int(RATE * (seconds + 5))):
            line = KINDS[4].line(i).encode() + b"\r\n"
            for part in [line[k : k + 1] for k in range(len(line))] if bytewise else [line]:
                cable.send(part)
                if bytewise:
                    time.sleep(0.0001)  # a byte at 115200 takes 87 us
            while terminal.read_some(0):
                pass
            if i in (RATE * 5, int(RATE * (seconds + 5)) - 1):
                used.append(_cpu_s(terminal.pid))
            time.sleep(max(0.0, begun + (i + 1) / RATE - time.monotonic()))
        terminal.press(b"q")
        status = terminal.wait()
        cable.pull()
    how = "byte by byte" if bytewise else "line by line"
    print(f"{how}: {100 * (used[1] - used[0]) / seconds:.1f} % of a core at {RATE} a second (exit {status})")


def _cpu_s(pid: int) -> float:
    """Processor time of a running process. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure_memory() -> None:
    """Memory of the reader and its figures, and of the whole command, over an hour of samples at 80 a second."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "capture.txt"
        path.write_bytes(KINDS[10].stream(RATE * HOUR))
        with open_source(str(path), rate="fast") as source:
            listening, figures = Listening(source), StreamFigures()
            tracemalloc.start()
            read = 0
            while not listening.ended:
                for record in listening.poll(0.0):
                    figures.add(record)
                    read += 1
                    if read % (RATE * HOUR // 6) == 0:
                        print(f"{read:8} records: {tracemalloc.get_traced_memory()[0] / 1e6:.2f} MB in use")
            tracemalloc.stop()
        for lines in (RATE * HOUR // 60, RATE * HOUR):
            path.write_bytes(KINDS[10].stream(lines))
            command = [sys.executable, "-m", "calib", "listen", str(path), "--rate", "fast", "--json"]
            with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as program:
                _, status, used = os.wait4(program.pid, 0)
                program.returncode = os.waitstatus_to_exitcode(status)
            print(f"{lines:8} lines through the command: peak {used.ru_maxrss / 1024:.1f} MB, {used.ru_utime:.1f} s")


if __name__ == "__main__":
    main()
