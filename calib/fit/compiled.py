"""Compiled routines of scipy by themselves: LAPACK's for symmetric matrices, and the normal distribution.

`scipy.linalg` and `scipy.special` import a great deal more, twice the time of all the rest of a fit. The same compiled
functions are reached without it; where they are not found by themselves (another build of scipy, Windows with its
search for libraries) they are imported in the ordinary way.
"""

import sys
from collections.abc import Sequence
from importlib import import_module
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec
from pathlib import Path
from types import ModuleType
from typing import Any


def _alone(package: str, name: str, wanted: Sequence[str]) -> ModuleType | None:
    """A compiled module of scipy without its package; None where it is not to be had."""
    scipy = find_spec("scipy")
    if sys.platform == "win32" or scipy is None or not scipy.submodule_search_locations:
        return None
    folders = [str(Path(place, package)) for place in scipy.submodule_search_locations]
    found = PathFinder.find_spec(f"scipy.{package}.{name}", folders)
    if found is None or found.loader is None:
        return None
    try:
        module = module_from_spec(found)
        found.loader.exec_module(module)
    except ImportError:
        return None
    return module if all(hasattr(module, one) for one in wanted) else None


_CHOLESKY = ("dpotrf", "dpotri", "dtrtri")
_lapack: Any = _alone("linalg", "_flapack", _CHOLESKY) or import_module("scipy.linalg.lapack")
_normal: Any = _alone("special", "_special_ufuncs", ["ndtr"]) or import_module("scipy.special")

dpotrf, dpotri, dtrtri = (getattr(_lapack, name) for name in _CHOLESKY)
ndtr = _normal.ndtr
