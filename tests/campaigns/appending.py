"""A hundred `bandcurve log` at once, each a process of its own: `python -m tests.campaigns.appending [COUNT]`."""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from calib.profile.document import save_profile
from calib.profile.store.uses import counted_once, parse_uses
from tests.use.bands.made import band

COUNT = 100


def main() -> int:
    """Count what was acknowledged and what is there."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        save_profile(band("B07"), folder / "B07.profile.json")
        began = time.monotonic()
        command = [sys.executable, "-m", "calib", "log", "B07", "--folder", name, "--reps"]
        jobs = [subprocess.Popen([*command, f"{i + 1}"], stdout=subprocess.DEVNULL) for i in range(count)]
        acknowledged = {i + 1 for i, job in enumerate(jobs) if job.wait() == 0}
        path = folder / "B07.uses.csv"
        there = [use.reps for use in counted_once(parse_uses(path.read_bytes(), path.name))]
        lost, twice = acknowledged - set(there), len(there) - len(set(there))
        print(f"{count} at once: {len(acknowledged)} acknowledged, {len(there)} there, {len(lost)} lost, {twice} twice")
        print(f"{time.monotonic() - began:.1f} s; left beside it: {sorted(p.name for p in folder.iterdir())}")
    return 1 if lost or twice or len(acknowledged) < count else 0


if __name__ == "__main__":
    sys.exit(main())
