"""What the examples in the docstrings may use: `profile`, the profile of an invented band. Not part of the package."""

from pathlib import Path
from typing import Any

import pytest

_BAND = """[[band]]
profile = "B07.profile.json"
from = "below"
side = "{}"
arrangement = "straight"
anchor_height_mm = 100
anchor_diameter_mm = 50
sleeve_diameter_mm = 50
"""
RIG = (
    """format = "bandcurve-rig/1"
[bar]
mass_kg = 20
plates_kg = 40
bottom_mm = 1350
top_mm = 1900
"""
    + _BAND.format("left")
    + _BAND.format("right")
)
INVENTED = Path(__file__).parents[1] / "tests" / "data" / "profiles" / "invented-1.0.profile.json"


@pytest.fixture(autouse=True)
def _example_profile(doctest_namespace: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> None:
    import calib
    from calib.profile.document import load_profile

    folder = tmp_path_factory.mktemp("bands")
    (folder / "B07.profile.json").write_bytes(INVENTED.read_bytes())
    (folder / "press.rig.toml").write_text(RIG, "utf-8")
    doctest_namespace |= {"calib": calib, "folder_path": folder, "rig_path": folder / "press.rig.toml"}

    doctest_namespace["profile_path"] = INVENTED
    doctest_namespace["profile"] = load_profile(INVENTED)
