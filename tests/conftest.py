"""For the whole suite: one BLAS thread, as the program has; modules compiled once; terminals one at a time."""

import atexit
import os
import shutil
import tempfile

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):  # or each program that a test starts compiles all it loads
    compiled = os.environ["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp(prefix="bandcurve-tests-")
    atexit.register(shutil.rmtree, compiled, ignore_errors=True)


@pytest.hookimpl(tryfirst=True)  # before the groups are read
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """With `-n 2 --dist loadgroup` a file stays together, and what watches a clock takes turns."""
    watching = {item.path for item in items if any(map(item.get_closest_marker, ("terminal", "browser")))}
    for item in items:
        clock = item.path in watching or "firmware" in item.path.parts
        item.add_marker(pytest.mark.xdist_group("clock" if clock else str(item.path)))
