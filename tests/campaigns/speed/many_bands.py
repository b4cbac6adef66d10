"""A folder of many bands for the page: one sample band made stronger or weaker, a rig, a table of lifters. Invented."""

import json
import random
from functools import partial
from pathlib import Path
from time import process_time

from calib.profile.document import parse_profile, save_profile
from tests.use.rig.made import band_text, rig_text
from tests.web.phone import let_in

SAMPLE = Path(__file__).parents[3] / "sample_runs" / "KNEE.profile.json"
PLATES = {"plates": "20x4,10x4,5x2"}
VIEWS: dict[str, tuple[str, dict[str, str]]] = {
    "list of bands": ("/", {}),
    "one band": ("/band/B001", {}),
    "pairs": ("/pairs", {}),
    "what to hang for a load": ("/solve/squat", {"top": "110", **PLATES}),
    "what to hang, no band twice": ("/solve/squat", {"top": "110", "once": "yes", **PLATES}),
    "a line-up of eight lifters": ("/lifters", {"table": "evening.csv", "rig": "squat", **PLATES}),
}


def make_folder(folder: Path, count: int) -> None:
    """So many bands, each with a run of its own behind it."""
    rng, text = random.Random(1), SAMPLE.read_text("utf-8")
    for i in range(count):
        name, by = f"B{i:03d}", rng.uniform(0.4, 2.0)
        made = json.loads(text.replace("KNEE", name))
        made["made"]["from"][0]["sha256"] = f"{i:064x}"
        pulls = [*made["branches"].values(), *made["factors"], made["rest_N"]]
        for part in pulls:
            for key in part:
                if key.endswith("_N") or part is made["rest_N"]:
                    part[key] = [by * pull for pull in part[key]]
        save_profile(parse_profile(json.dumps(made).encode(), name), folder / f"{name}.profile.json")
    (folder / "squat.rig.toml").write_text(
        rig_text(*(band_text(side=side, profile="B000") for side in ("left", "right")), bottom=1400, top=1900), "utf-8"
    )
    lifters = [f"L{i},{1400 + 5 * i},{1800 + 7 * i},{60 + 4 * i},{80 + 5 * i}" for i in range(8)]
    head = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg"
    (folder / "evening.csv").write_text("\n".join([head, *lifters, ""]), "utf-8")


def view_times(folder: Path, again: int = 5) -> dict[str, tuple[float, float]]:
    """Processor time of each view when it is first asked for, and the least of some times after. [ms]"""
    phone, found = let_in(folder), {}
    for what, (address, query) in VIEWS.items():
        ask = partial(phone.get, address, params=query)
        taken = []
        for _ in range(again + 1):
            begun = process_time()
            assert ask().status_code == 200, what
            taken.append(1e3 * (process_time() - begun))
        found[what] = taken[0], min(taken[1:])
    return found
