"""From a fit to the profile that is stored: every field from what was recorded. The fitting is done elsewhere."""

from collections.abc import Iterable, Sequence
from statistics import fmean
from typing import Any

import numpy as np

from calib import __version__, assumptions, versioned
from calib.errors import DataError
from calib.fit.curve.straight import departures
from calib.half_path import offset_over
from calib.profile.document import FORMAT, Profile
from calib.records import Array, BranchTable, BudgetLine, Fit, Run, RunHead

LINEAR_WITHIN = 0.1  # of u: what the document promises of a straight line between grid points


def profile_of(fit: Fit, by: str, also_from: Sequence[tuple[str, str]] = ()) -> Profile:
    """Make the profile of a fit, as it will be read back: rounded to seven digits.

    Args:
        fit: One band's fit.
        by: The program and its version.
        also_from: Other files that went into it, a later check of the scale for one: name and sha256.

    Raises:
        DataError: The grid is too coarse for straight lines.
    """
    for name, branch in (("loading", fit.curve.loading), ("unloading", fit.curve.unloading)):
        if branch is not None and (worst := departure_from_lines(branch)) > LINEAR_WITHIN:
            raise DataError(f"a straight line between grid points of the {name} branch is off by {worst:.2f} u")
    head = fit.runs[0].head
    document = {
        "format": f"{FORMAT.name}/{FORMAT.major}.{FORMAT.minor}",
        "band": _band(head, fit.rest_half_path),
        "made": _made(fit, by, also_from),
        "gear": _gear([run.head for run in fit.runs]),
        "conditions": _conditions(fit),
        "length": {"kind": "half-path"},
        **_tables(fit),
        **_spreads(fit),
        "temperature_coefficient": {
            "per_K": assumptions.value("temperature_per_K"),
            "u_per_K": assumptions.value("u_temperature_per_K"),
        },
        "model": {"name": "log-rubber", "version": 1, "coefficients": _plain(fit.coefficients)},
        "budget": [_budget_line(line) for line in fit.budget],
        "findings": [{"code": f.code, "text": f.text} for f in fit.findings],
    }
    return versioned.validate(Profile, versioned.plain_json(document), FORMAT, f"{head.band.id}.profile.json")


def fit_profile(runs: Sequence[Run]) -> Profile:
    """Fit the runs of one band and make its profile.

    Args:
        runs: One or more runs of the same band; they are joined.

    Raises:
        DataError: The runs cannot be fitted.
    """
    from calib.fit.curve.estimate import fit_runs  # scipy: only where a fit is asked for

    return profile_of(fit_runs(runs), f"bandcurve {__version__}")


def departure_from_lines(table: BranchTable) -> float:
    """Largest departure of the curve from straight lines between its grid points, in u."""
    return float(departures(table.length, table.force, table.u).max(initial=0.0))


def _band(head: RunHead, rest: float) -> dict[str, Any]:
    band = head.band
    optional = {
        "thickness_m": band.thickness,
        "width_m": band.width,
        "mass_kg": band.mass,
        "layers": band.layers,
        "material": band.material,
        "batch": band.batch,
        "note": band.note,
    }
    return {
        "id": band.id,
        "flat_length_m": band.flat_length,
        "u_flat_length_m": band.u_flat_length,
        "rest_half_path_m": rest,
        **{name: value for name, value in optional.items() if value is not None},
        "strands": band.strands,
    }


def _made(fit: Fit, by: str, also_from: Sequence[tuple[str, str]]) -> dict[str, Any]:
    days = sorted(run.head.started.date().isoformat() for run in fit.runs if run.head.started)
    files = [*((run.name, run.sha256) for run in fit.runs), *also_from]
    return {
        "measured_at": days[0] if days else None,
        "by": by,
        "from": [{"file": name, "sha256": sha256} for name, sha256 in files],
        "assumed": assumptions.changed(),
    }


def _gear(heads: list[RunHead]) -> dict[str, Any]:
    scales = [head.scale for head in heads if head.scale]
    known = [s.correction.known_loads for s in scales if s.correction] + [h.loads.id for h in heads if h.loads]
    held = {(head.length.kind, head.length.fitting_diameters) for head in heads}
    one_way = {"tape_kind": heads[0].length.kind} if len(held) == 1 else {}
    return {
        "scale": _joined(s.id for s in scales),
        "check": _joined(s.check for s in scales),
        "tape": _joined(head.length.tape for head in heads),
        "known_loads": _joined(known),
        "fitting_diameters_m": list(heads[0].length.fitting_diameters),
        **one_way,
    }


def _joined(names: Iterable[str | None]) -> str | None:
    """One name, or several with a plus between, in order of appearance."""
    return " + ".join(dict.fromkeys(name for name in names if name)) or None


def _conditions(fit: Fit) -> dict[str, Any]:
    heads = [run.head for run in fit.runs]
    procedure = heads[0].procedure
    temperatures = [h.procedure.temperature for h in heads if h.procedure.temperature is not None]
    return {
        "method": procedure.method,
        "temperature_C": fmean(temperatures) if temperatures else None,
        "dwell_s": procedure.dwell_s,
        "conditioned_to_m": _conditioned_to(heads[0]),
        "cycles": max(1, len({(p.run, p.cycle) for p in fit.points})),
    }


def _conditioned_to(head: RunHead) -> float | None:
    """Longest conditioning length as half-path. [m]"""
    if head.procedure.conditioned_to is None:
        return None
    offset = offset_over(head.length.kind, head.length.fitting_diameters, head.band.thickness)
    return head.procedure.conditioned_to + offset


def _tables(fit: Fit) -> dict[str, Any]:
    up, down = fit.curve.loading, fit.curve.unloading
    return {
        "branches": {"loading": _branch(up), "unloading": _branch(down) if down else None},
        "factors": [
            {"source": f.source, "key": f.key, "loading_N": f.loading.tolist(), "unloading_N": _listed(f.unloading)}
            for f in fit.curve.factors
        ],
        "rest_N": {"loading": up.rest.tolist(), "unloading": down.rest.tolist() if down else None},
    }


def _branch(table: BranchTable) -> dict[str, Any]:
    return {
        "length_m": table.length.tolist(),
        "force_N": table.force.tolist(),
        "u_N": table.u.tolist(),
        "u95_N": table.u95.tolist(),
    }


def _listed(values: Array | None) -> list[float] | None:
    return None if values is None else [float(v) for v in values]


def _spreads(fit: Fit) -> dict[str, Any]:
    spread, loop, held, load = fit.repeatability, fit.hysteresis, fit.relaxation, fit.check_load
    return {
        "repeatability": {
            "cycle_gain": spread.cycle_gain,
            "hook_shift_m": spread.hook_shift,
            "between_day_gain": spread.between_day_gain,
            "between_day_assumed": spread.between_day_assumed,
            "u_between_day_gain": spread.u_between_day_gain,
            "days": spread.days,
        },
        "hysteresis": loop
        and {
            "from_m": loop.start,
            "to_m": loop.end,
            "energy_in_J": loop.energy_in,
            "energy_lost_J": loop.energy_lost,
            "loss_ratio": loop.loss_ratio,
            "u_loss_ratio": loop.u_loss_ratio,
            "set_m": loop.set,
        },
        "relaxation": {"percent_per_decade": held.percent_per_decade, "u": held.u, "measured": held.measured},
        "check_load": load and {"id": load.id, "shown_N": load.shown, "u_N": load.u},
    }


def _budget_line(line: BudgetLine) -> dict[str, Any]:
    places = ("low", "middle", "top")
    return {
        "source": line.source,
        "type": line.type,
        "u_N": dict(zip(places, line.u, strict=True)),
        "share": dict(zip(places, line.share, strict=True)),
    }


def _plain(value: Any) -> Any:
    """The coefficients without arrays."""
    if isinstance(value, dict):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [_plain(v) for v in value]
    return value.item() if isinstance(value, np.generic) else value
