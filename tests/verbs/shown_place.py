"""A folder that holds every file the guide's commands name: invented bands, a box, rigs, lifters, scales, tables."""

import shutil
from pathlib import Path

from calib.profile.document import load_profile
from calib.verbs.app import run
from tests.profile.store.folders import put
from tests.use.bands.hooked import head
from tests.use.rig.made import band_text, rig_text

SAMPLES = Path(__file__).parents[2] / "sample_runs"
BAND = {"B07": 1.0, "B08": 1.01, "B09": 1.2, "B10": 1.21, "B11": 1.36, "B12": 1.8, "REF": 1.0}


def fill(place: Path) -> None:
    """Write them.

    Args:
        place: An empty folder.
    """
    for name, level in BAND.items():
        put(place / f"{name}.profile.json", name, level, "2026-03-01")
    put(place / "B07.2027-03-05.profile.json", "B07", 0.97, "2027-03-05")
    shutil.copytree(place, place / "profiles", ignore=shutil.ignore_patterns("profiles"))
    shutil.copytree(place / "profiles", place / "bands")
    knee, thin = ((SAMPLES / f"{n}.run.csv").read_text("utf-8") for n in ("KNEE", "THIN"))
    (place / "B07.run.csv").write_text(knee.replace('id = "KNEE"', 'id = "B07"'), "utf-8")
    (place / "box").mkdir()
    for name, text, of in (("B01", knee, "KNEE"), ("B02", thin, "THIN"), ("B03", knee, "KNEE")):
        (place / "box" / f"{name}.run.csv").write_text(text.replace(f'id = "{of}"', f'id = "{name}"'), "utf-8")
    assert run(["batch", "fit", str(place / "box")]) == 0
    _rigs(place)
    _tables(place)
    _series(place)


def fill_box(place: Path) -> None:
    """Write what docs/lineup.md begins with: twelve bands in pairs that are nearly alike, and a rack with pins.

    Args:
        place: An empty folder.
    """
    for n in range(12):
        name = f"B{n + 1:02d}"
        put(place / f"{name}.profile.json", name, 0.8 + 0.25 * (n // 2) + 0.008 * (n % 2))
    sides = (band_text(side=s, profile=f"{b}.profile.json") for s, b in (("left", "B01"), ("right", "B02")))
    (place / "press.rig.toml").write_text(rig_text(*sides, bottom=1350, top=1850), "utf-8")


def _rigs(place: Path) -> None:
    ends = {"squat": (1350, 1850), "press": (1400, 1900), "here": (1350, 1850), "there": (1360, 1860)}
    for name, (bottom, top) in ends.items():
        sides = (band_text(side=s, profile=f"{b}.profile.json") for s, b in (("left", "B07"), ("right", "B08")))
        (place / f"{name}.rig.toml").write_text(rig_text(*sides, bottom=bottom, top=top), "utf-8")
    lifters = "lifter,bottom_mm,top_mm,want_bottom_kg,want_top_kg\nAna,1350,1850,60,80\nBo,1360,1860,70,90\n"
    (place / "evening.csv").write_text(lifters, "utf-8")


def _tables(place: Path) -> None:
    from openpyxl import Workbook

    rows = [(1130, 3.9), (1200, 6.0), (1270, 7.7), (1340, 9.2), (1420, 10.9), (1500, 12.5), (1600, 14.4), (1700, 16.2)]
    text = "length (mm),force (kg)\n" + "".join(f"{length},{force}\n" for length, force in rows)
    (place / "readings.csv").write_text(text, "utf-8")
    (place / "capture.txt").write_text("".join(f"{0.1 * n:.1f} kg\n" for n in range(40)), "utf-8")
    loads = "0,0\n10,10.05\n20,20.1\n30,30.1\n20,20.05\n10,10.05\n0,0\n"
    (place / "plates.csv").write_text(f"known,shown\n{loads}", "utf-8")
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["band", "flat (mm)", "length (mm)", "out (kg)"])
    for row in rows:
        sheet.append(["X1", 1029, *row])
    book.save(place / "box.xlsx")


def _series(place: Path) -> None:
    for first, second, names in (("B07", "B08", ("",)), ("B07", "REF", (".2026", ".2027", ""))):
        a, b = (load_profile(place / f"{n}.profile.json") for n in (first, second))
        rows = [(x - 0.02, b.length(a.force(x)).length - 0.02) for x in (1.4, 1.6, 1.8)]
        read = [(1000 * (x + y + 0.04), 1000 * (x + 0.02)) for x, y in rows]
        body = "".join(f"{n},1,{total:.1f},{ring:.1f}\n" for n, (total, ring) in enumerate(read, 1))
        for name in names:
            (place / f"{first}+{second}{name}.series.csv").write_text(head(first, second) + body, "utf-8")
