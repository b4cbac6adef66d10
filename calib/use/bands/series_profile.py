"""A profile tightened by series of its band with others: the constraint worked into its factors. No file is read here.

The step comes after the fit. What the other band's curve is off becomes a part of this one's uncertainty, under the
same key where it is shared.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from calib.acquire.files.series_file import Series
from calib.profile.document import Profile, parse_profile
from calib.profile.table import BRANCHES, BranchName
from calib.records import Array
from calib.use.bands.series import told_by_series
from calib.use.bands.shared_lengths import Curve
from calib.versioned import MOST_FACTORS

SMALL = 1e-3  # of u: an own factor below it everywhere is left to the rest


def tightened(
    profile: Profile, others: Sequence[Profile], series: Sequence[Series], from_files: Sequence[tuple[str, str]]
) -> Profile:
    """The profile with what its series with other bands say.

    Args:
        profile: As fitted.
        others: Profiles of the bands it hung with.
        series: Of this band and one of them, each.
        from_files: Names and sha256 of the files of `others`; those of the series are known.

    Raises:
        DataError: A series of a band that is not there, or at lengths that were not tested.
    """
    wanted: dict[BranchName, Array] = {
        b: np.array(t.length_m) for b in BRANCHES if (t := profile.branch(b)) is not None
    }
    curves = told_by_series([profile, *others], series, wanted, among=[profile])[0]
    names = {f.key: f.source for p in (*others, profile) for f in p.factors if f.key}
    named, own, rest = _factors(curves, list(names))
    document: dict[str, Any] = profile.model_dump(by_alias=True, exclude_unset=True)
    split = len(wanted["loading"])
    document["branches"] = dict.fromkeys(BRANCHES) | {
        b: {
            "length_m": x.tolist(),
            "force_N": c.force.tolist(),
            "u_N": c.u.tolist(),
            "u95_N": (c.u * c.ratio).tolist(),
        }
        for (b, x), c in zip(wanted.items(), curves, strict=True)
    }
    shifts: list[tuple[str, str | None, Array]] = [(names[key], key, shift) for key, shift in named.items()]
    shifts += [(f"own {i + 1}", None, shift) for i, shift in enumerate(own)]
    document["factors"] = [
        {"source": source, "key": key, **_split(shift, split, "unloading" in wanted, "_N")}
        for source, key, shift in shifts
    ]
    document["rest_N"] = _split(rest, split, "unloading" in wanted)
    document["budget"] = _budget(shifts, rest, split)
    files = [(s.name, s.sha256) for s in series] + list(from_files)
    document["made"]["from"] = [
        *document["made"]["from"],
        *({"file": name, "sha256": digest} for name, digest in files),
    ]
    return parse_profile(Profile.model_validate(document).to_json().encode(), f"{profile.band.id}.profile.json")


def _split(values: Array, at: int, back: bool, unit: str = "") -> dict[str, Any]:
    return {f"loading{unit}": values[:at].tolist(), f"unloading{unit}": values[at:].tolist() if back else None}


def _factors(curves: Sequence[Curve], keyed: Sequence[str]) -> tuple[dict[str, Array], list[Array], Array]:
    """What is shared by its key, the rest of the covariance cut into independent pieces, and what is left of u. [N]"""
    keys = sorted({key for c in curves for key in c.sources})
    whole = {k: np.concatenate([c.sources.get(k, np.zeros(len(c.force))) for c in curves]) for k in keys}
    named = {k: whole[k] for k in keyed if k in whole and np.abs(whole[k]).max() > 0}
    half = np.stack([shift for k, shift in whole.items() if k not in named], axis=1)
    left, size, _ = np.linalg.svd(half, full_matrices=False)
    pieces = left * size
    u = np.sqrt(sum((c**2 for c in whole.values()), np.zeros(len(half))))
    kept = [i for i in range(min(MOST_FACTORS - len(named), len(size))) if (np.abs(pieces[:, i]) > SMALL * u).any()]
    own = [pieces[:, i] for i in kept]
    told = sum((shift**2 for shift in (*named.values(), *own)), np.zeros(len(u)))
    return named, own, np.sqrt(np.maximum(u**2 - told, 0.0))


def _budget(shifts: Sequence[tuple[str, str | None, Array]], rest: Array, split: int) -> list[dict[str, Any]]:
    """Sources at the low end, the middle and the top of the loading branch; all that is this band's own together."""
    at = np.array([0, split // 2, split - 1])
    parts: dict[str, Array] = {"this band's own, and its series": rest[at] ** 2}
    for source, key, shift in shifts:
        name = source if key else "this band's own, and its series"
        parts[name] = parts.get(name, np.zeros(3)) + shift[at] ** 2
    total = sum(parts.values(), np.zeros(3))
    places = ("low", "middle", "top")
    return [
        {
            "source": name,
            "type": "A" if name.startswith("this") else "B",
            "u_N": dict(zip(places, np.sqrt(v).tolist(), strict=True)),
            "share": dict(zip(places, (v / total).tolist(), strict=True)),
        }
        for name, v in sorted(parts.items(), key=lambda item: -float((item[1] / total).max()))
    ]
