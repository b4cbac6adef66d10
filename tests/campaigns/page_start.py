"""From the command to the first page: seconds on the clock, best and middle of so many starts.

    python -m tests.campaigns.page_start [FOLDER]

Said with the machine's load, since others at work on it are in the figure.
"""

import argparse
import os
import re
import statistics
import subprocess
import sys
import time
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.request import HTTPCookieProcessor, build_opener

SAMPLES = Path(__file__).parents[2] / "sample_runs"
STARTS = 9


def started(folder: Path) -> float:
    """Start it once, with compiled files as an installed program has them, and read the first page. [s]"""
    known = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    command = [sys.executable, "-m", "calib", "page", str(folder), "--no-browser"]
    begun_s = time.perf_counter()
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=known) as server:
        assert server.stderr is not None
        found = re.search(r"http\S+", server.stderr.readline())
        assert found is not None
        with build_opener(HTTPCookieProcessor(CookieJar())).open(found[0], timeout=20) as page:
            assert b"Bands" in page.read()
        took = time.perf_counter() - begun_s
        server.terminate()
    return took


def main() -> None:
    """Say how long it took."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("folder", nargs="?", type=Path, default=SAMPLES)
    folder = options.parse_args().folder
    started(folder)  # compiles what is not compiled yet
    took = [started(folder) for _ in range(STARTS)]
    load = f", load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors" if hasattr(os, "getloadavg") else ""
    print(f"first page: best {min(took):.2f} s, middle {statistics.median(took):.2f} s of {STARTS}{load}")


if __name__ == "__main__":
    main()
