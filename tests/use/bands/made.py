"""Invented bands for pairs and comparisons: level and shape as asked, never measured."""

import json
from typing import Any

from calib.profile.document import Profile, parse_profile
from tests.profile.invented import document


def band(name: str, level: float = 1.0, **changes: Any) -> Profile:
    """A band of the invented kind, so many times as strong; parts of the document replaced as asked."""
    check = changes.pop("check", "garage-hook/2026-02-27")
    made = document(name, 125.0 * level, check=check)
    for part, values in changes.items():
        made[part] = made[part] | values if isinstance(values, dict) and made[part] else values
    return parse_profile(json.dumps(made).encode(), name)
