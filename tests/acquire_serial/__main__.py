"""Speed of the line reader and a long search for bytes that crash it: `python -m tests.acquire_serial [--fuzz N]`."""

import argparse
import time

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calib.acquire.line_agreement import Chosen, LineReader
from tests.acquire_serial.kinds import KINDS
from tests.acquire_serial.test_lines import _PIECE, no_crash

LINES = 20_000  # of each kind
CHUNK = 64  # bytes at a time, as they come from a port


def main() -> None:
    """Print lines per second of each kind, or search for a crash."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fuzz", type=int, default=0, metavar="N", help="try N made-up streams instead")
    examples = parser.parse_args().fuzz
    if examples:
        checks = [HealthCheck.too_slow]
        search = settings(max_examples=examples, deadline=None, database=None, suppress_health_check=checks)
        search(given(st.lists(_PIECE, max_size=8))(no_crash))()
        print(f"no crash in {examples} streams")
        return
    for kind in KINDS:
        data = kind.stream(LINES)
        reader = LineReader(Chosen(column=kind.column))
        begun = time.process_time()
        readings = sum(
            record.kind == "reading"
            for begin in range(0, len(data), CHUNK)
            for record in reader.feed(data[begin : begin + CHUNK], 0.0)
        )
        took = time.process_time() - begun
        print(f"{kind.name:36} {LINES / took:8.0f} lines/s  ({readings} readings)")


if __name__ == "__main__":
    main()
