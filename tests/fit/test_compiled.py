"""The routines reached without scipy's packages are scipy's own, to the last bit, in whatever order they are loaded."""

import subprocess
import sys

import numpy as np
import pytest
from scipy.linalg import lapack
from scipy.special import ndtr

from calib.fit import compiled


def test_they_are_scipys_to_the_last_bit() -> None:
    draw = np.random.default_rng(1)
    matrix = draw.normal(size=(40, 40))
    matrix = matrix @ matrix.T + np.eye(40)
    root = compiled.dpotrf(matrix, lower=1)[0]
    assert root.tobytes() == lapack.dpotrf(matrix, lower=1)[0].tobytes()
    for ours, theirs in ((compiled.dpotri, lapack.dpotri), (compiled.dtrtri, lapack.dtrtri)):
        assert ours(root, lower=1)[0].tobytes() == theirs(root, lower=1)[0].tobytes()
    z = draw.normal(size=1000) * 5
    assert compiled.ndtr(z).tobytes() == ndtr(z).tobytes()


@pytest.mark.parametrize(
    "code",
    [
        "import calib.fit.compiled, scipy.linalg, scipy.special, scipy.optimize",
        "import scipy.linalg, scipy.special, scipy.optimize, calib.fit.compiled",
    ],
)
def test_both_ways_go_together(code: str) -> None:
    use = "; import numpy; a = numpy.eye(2)"
    use += "; assert calib.fit.compiled.dpotrf(a)[1] == scipy.linalg.lapack.dpotrf(a)[1]"
    subprocess.run([sys.executable, "-c", code + use], check=True)


@pytest.mark.skipif(sys.platform == "win32", reason="there they are imported in the ordinary way")
def test_they_are_reached_without_scipys_packages() -> None:
    code = "import sys, calib.fit.curve.estimate; assert not {'scipy.linalg', 'scipy.special'} & set(sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_what_is_not_there_by_itself_is_not_taken() -> None:
    assert compiled._alone("linalg", "_no_such_module", []) is None
    assert compiled._alone("linalg", "_flapack", ["no_such_routine"]) is None
