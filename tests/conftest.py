"""For the whole suite: one BLAS thread, as the program has; modules compiled once for the programs it starts."""

import atexit
import os
import shutil
import tempfile

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy is loaded
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):  # or each program that a test starts compiles all it loads
    compiled = os.environ["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp(prefix="bandcurve-tests-")
    atexit.register(shutil.rmtree, compiled, ignore_errors=True)
