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

Many lengths at once give arrays, with the standard uncertainty and both 95 % limits.

>>> at = profile.pulls([1.4, 1.6, 1.8])
>>> at.force_N.round(1).tolist()
[103.1, 143.2, 178.4]
>>> at.u95_next_set_N.round(1).tolist()
[2.9, 3.9, 4.7]

A folder of files is a collection of bands, by name.

>>> calib.read_folder(folder_path)
<Folder of 1 bands: B07>

From a run to a profile: `calib.fit_profile([calib.read_run("B07.run.csv")])` gives a Profile, and
`calib.save_profile` writes it. A load cell as it is pulled: `for reading in calib.open_stream("/dev/ttyUSB0")`.
docs/api.md describes every name.
"""

TYPE_CHECKING = False  # as type checkers know it; loading `typing` would leave Ctrl-C a window before `__main__`
if TYPE_CHECKING:
    from typing import Any as _Any

    from calib.acquire.cell.open_stream import open_stream
    from calib.acquire.files.run_file import parse_run, read_run
    from calib.errors import BandcurveError, DataError, FileError, OutOfRangeError, UsageError
    from calib.fit.curve.estimate import fit_runs
    from calib.profile.build import fit_profile
    from calib.profile.document import Profile, load_profile, save_profile
    from calib.profile.exports import curve_csv
    from calib.profile.table import difference
    from calib.scale import Scale, load_scale, save_scale
    from calib.use.bands.compare import compare
    from calib.use.bands.folder import Folder, read_folder
    from calib.use.bands.pair import pair_up
    from calib.use.bands.predict import half_path_between
    from calib.use.report.document import json_text as answer_json
    from calib.use.rig.from_python import rig_loads as rig
    from calib.use.rig.from_python import solve_for as solve

__version__ = "0.1.0"  # the one place it is written

_HOMES = {
    "BandcurveError": "calib.errors",
    "DataError": "calib.errors",
    "FileError": "calib.errors",
    "Folder": "calib.use.bands.folder",
    "OutOfRangeError": "calib.errors",
    "Profile": "calib.profile.document",
    "Scale": "calib.scale",
    "UsageError": "calib.errors",
    "answer_json": "calib.use.report.document:json_text",
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
    "read_folder": "calib.use.bands.folder",
    "read_run": "calib.acquire.files.run_file",
    "rig": "calib.use.rig.from_python:rig_loads",
    "save_profile": "calib.profile.document",
    "save_scale": "calib.scale",
    "solve": "calib.use.rig.from_python:solve_for",
}

__all__ = [
    "BandcurveError",
    "DataError",
    "FileError",
    "Folder",
    "OutOfRangeError",
    "Profile",
    "Scale",
    "UsageError",
    "__version__",
    "answer_json",
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
    "read_folder",
    "read_run",
    "rig",
    "save_profile",
    "save_scale",
    "solve",
]


def __getattr__(name: str) -> "_Any":
    """Load the module a name lives in when the name is first used."""
    from importlib import import_module

    if name not in _HOMES:
        raise AttributeError(f"module 'calib' has no attribute {name!r}")
    home, _, own = _HOMES[name].partition(":")
    return getattr(import_module(home), own or name)


def __dir__() -> list[str]:
    return list(__all__)
