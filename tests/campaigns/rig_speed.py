"""Computing time of one rig, as in docs/speed.md: `python -m tests.campaigns.rig_speed` prints the table's lines."""

from collections.abc import Callable
from pathlib import Path
from time import process_time

from calib.profile.document import load_profile
from calib.use.rig.rig_file import Rig
from calib.use.rig.statics import calculate
from tests.use.rig.made import band_text, rig

SAMPLES = Path(__file__).parents[2] / "sample_runs"
LIFTS = (("straight", 1400.0, 1900.0), ("straight", 900.0, 1500.0), ("choked", 830.0, 1230.0))


def best_ms(task: Callable[[], object], times: int = 7) -> float:
    """Least processor time of a task after a first go. [ms]"""
    task()
    found = []
    for _ in range(times):
        begun = process_time()
        task()
        found.append(process_time() - begun)
    return 1e3 * min(found)


def rig_ms(arrangement: str, bottom: float, top: float, count: int) -> float:
    """Of one rig of so many bands, left and right in turn. [ms]"""
    bands = [band_text(arrangement, 100, ("left", "right")[i % 2]) for i in range(count)]
    made: Rig = rig(*bands, bottom=bottom, top=top)
    profiles = [load_profile(SAMPLES / f"{('KNEE', 'THIN')[i % 2]}.profile.json") for i in range(count)]
    return best_ms(lambda: calculate(made, profiles, extrapolate=True))


if __name__ == "__main__":
    for count in (2, 4, 8):
        print(f"| {count} | {' | '.join(f'{rig_ms(*lift, count):.0f} ms' for lift in LIFTS)} |")
