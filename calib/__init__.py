"""bandcurve: measure the tension curve of elastic loop bands, with an uncertainty that holds.

The verbs of the command line, from Python. A name loads its module when it is first used.

>>> import calib
>>> profile = calib.load_profile(profile_path)
>>> f"{profile.force(1.6):.1f} N"
'143.2 N'
>>> f"{profile.force(1.6, 'unloading'):.1f} N"
'127.4 N'
>>> at = profile.predict(1.6).loading
>>> f"{at.force:.1f} N, standard uncertainty {at.u:.1f} N, 95 % within {at.u95:.1f} N"
'143.2 N, standard uncertainty 0.8 N, 95 % within 1.7 N'
>>> f"{profile.length(150).length:.3f} m"
'1.637 m'

Outside the tested lengths it refuses, and says what would have worked.

>>> try:
...     profile.force(2.5)
... except ValueError as error:
...     print(error.what)
...     print(error.remedy)
2.5 m is outside the tested lengths
a half-path length from 1.13 to 2.1 m would have worked

From a run to a profile: `calib.fit_profile([calib.read_run("B07.run.csv")])` gives a Profile, and
`calib.save_profile` writes it. A load cell as it is pulled: `for reading in calib.open_stream("/dev/ttyUSB0")`.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.acquire.cell.open_stream import open_stream
    from calib.acquire.files.run_file import parse_run, read_run
    from calib.fit.curve.estimate import fit_runs
    from calib.profile.build import fit_profile
    from calib.profile.document import Profile, load_profile, save_profile
    from calib.profile.exports import curve_csv
    from calib.profile.table import difference
    from calib.scale import Scale, load_scale, save_scale
    from calib.use.bands.compare import compare
    from calib.use.bands.pair import pair_up
    from calib.use.bands.predict import half_path_between

__all__ = [
    "Profile",
    "Scale",
    "compare",
    "curve_csv",
    "difference",
    "fit_profile",
    "fit_runs",
    "half_path_between",
    "load_profile",
    "load_scale",
    "open_stream",
    "pair_up",
    "parse_run",
    "read_run",
    "save_profile",
    "save_scale",
]

_HOMES = {
    "Profile": "calib.profile.document",
    "Scale": "calib.scale",
    "compare": "calib.use.bands.compare",
    "curve_csv": "calib.profile.exports",
    "difference": "calib.profile.table",
    "fit_profile": "calib.profile.build",
    "fit_runs": "calib.fit.curve.estimate",
    "half_path_between": "calib.use.bands.predict",
    "load_profile": "calib.profile.document",
    "load_scale": "calib.scale",
    "open_stream": "calib.acquire.cell.open_stream",
    "pair_up": "calib.use.bands.pair",
    "parse_run": "calib.acquire.files.run_file",
    "read_run": "calib.acquire.files.run_file",
    "save_profile": "calib.profile.document",
    "save_scale": "calib.scale",
}


def __getattr__(name: str) -> Any:
    """Load the module a name lives in when the name is first used."""
    if name not in _HOMES:
        raise AttributeError(f"module 'calib' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
