"""For the whole suite: one BLAS thread, as the program has; modules compiled once for the programs it starts.

Files with a slow test come first: side by side with others, none of them is left over at the end.
"""

import atexit
import os
import shutil
import tempfile

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):  # or each program that a test starts compiles all it loads
    compiled = os.environ["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp(prefix="bandcurve-tests-")
    atexit.register(shutil.rmtree, compiled, ignore_errors=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put files with a slow test first."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)
