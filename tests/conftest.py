"""For the whole suite: one BLAS thread, as the program has; modules compiled once; terminals one at a time."""

import os
import tempfile
from getpass import getuser
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):  # or each program that a test starts compiles all it loads
    os.environ.setdefault("PYTHONPYCACHEPREFIX", str(Path(tempfile.gettempdir(), f"bandcurve-tests-{getuser()}")))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Where tests are run beside one another, those at a terminal and in a browser take turns: they watch the clock."""
    for item in items:
        for kind in ("terminal", "browser"):
            if item.get_closest_marker(kind) is not None:
                item.add_marker(pytest.mark.xdist_group(kind))
