"""A folder with something for every view of the page, and the addresses of the views."""

import json
import shutil
from pathlib import Path

from calib.acquire.files.run_file import RunWriter
from calib.acquire.recording.batch_plan import heads
from calib.acquire.recording.new_file import new_writer
from calib.acquire.recording.state import Recording
from calib.profile.document import save_profile
from tests.acquire.recording.test_state_machine import begun
from tests.use.rig.made import band_text, linear, rig_text
from tests.web.test_answers import TABLE
from tests.web.test_scales import HOOK

SAMPLES = Path(__file__).parents[2] / "sample_runs"
VIEWS = (
    "/", "/band/KNEE", "/rigs", "/rigs/new", "/boxes/new", "/rig/squat", "/pairs", "/recheck/KNEE",
    "/solve/squat?top=110&plates=20x4,10x4",
    "/lifters?table=evening.csv&rig=squat&plates=20x4,10x4", "/recheck/KNEE?plate=10", "/measure", "/boxes", "/box/box",
    "/measure?band=B9&occasion=full", "/measure/B1", "/cell?band=B2", "/band/NONE", "/scales", "/scale/hook",
)  # fmt: skip


def stocked(made: Path) -> Path:
    """Fill an empty folder."""
    shutil.copy(SAMPLES / "KNEE.profile.json", made)
    for name in ("B", "C"):
        save_profile(linear(name), made / f"{name}.profile.json")
    bands = band_text(side="left") + band_text(side="right")
    (made / "squat.rig.toml").write_text(rig_text(bands, bottom=1200, top=1800), "utf-8")
    (made / "evening.csv").write_text(TABLE.format(name="Ann"), "utf-8")
    (made / "hook.scale.json").write_text(json.dumps(HOOK), "utf-8")
    RunWriter.create(made / "B1.run.csv", begun(cycles=1).head).close()
    (made / "box").mkdir()
    for head in heads(begun().head, ["B01", "B02"], 1):
        new_writer(made / "box" / f"{head.band.id}.run.csv", Recording(head)).close()
    return made
