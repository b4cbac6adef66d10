"""What the examples in the docstrings may use: `profile`, the profile of an invented band. Not part of the package."""

from pathlib import Path
from typing import Any

import pytest

INVENTED = Path(__file__).parents[1] / "tests" / "data" / "profiles" / "invented-1.0.profile.json"


@pytest.fixture(autouse=True)
def _example_profile(doctest_namespace: dict[str, Any]) -> None:
    from calib.profile.document import load_profile

    doctest_namespace["profile_path"] = INVENTED
    doctest_namespace["profile"] = load_profile(INVENTED)
