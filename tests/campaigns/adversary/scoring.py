"""What is counted: coverage of the 95 % limits, errors in their own u, doubts where they are due and where not."""

import json
import re
from dataclasses import dataclass
from math import isnan

import numpy as np

from tests.campaigns.adversary.case import SLIPS, Case, Row
from tests.campaigns.adversary.laws import Array
from tests.campaigns.adversary.product import Answer

ACCUSING = frozenset(
    {"branches-cross", "creep-at-top", "curled-start", "cycle-trend", "force-falls", "gross-error", "not-repeatable"}
    | {"set", "shape-held", "single-negative", "slow-drift", "stray-reading", "zero-drift", "different-flat-lengths"}
)

TO_METRES = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}
LENGTH = re.compile(r"(\d+(?:[.,]\d+)?)\s?(mm|cm|m)\b")
NUMBER = re.compile(r"(\d+(?:[.,]\d+)?)\s?(?:and|to|\.\.|-)\s?\d+(?:[.,]\d+)?\s?(mm|cm|m)\b")


@dataclass(frozen=True)
class BandScore:
    """Of one band: z = error over u at each place, and whether inside the limits; nan where the curve does not go."""

    ident: str
    z_out: Array
    z_back: Array
    inside_out: Array
    inside_back: Array
    next_inside: Array
    error_share: float
    worst_z: float
    worst_named: bool
    alarms: tuple[str, ...]
    failed: str = ""


def places_named(findings: list[dict[str, str]]) -> list[list[float]]:
    """For each finding the lengths its sentence names [m]."""
    found = []
    for finding in findings:
        text = finding["text"]
        pairs = LENGTH.findall(text) + NUMBER.findall(text)
        found.append([float(n.replace(",", ".")) * TO_METRES[unit] for n, unit in pairs])
    return found


def names(findings: list[dict[str, str]], place: float, span: float) -> bool:
    """Whether a doubt says a length within a tenth of the span of the place, or two that lie round it."""
    reach = 0.1 * span
    for lengths in places_named([f for f in findings if f["code"] != "few-low-stretch"]):
        near = [x for x in lengths if abs(x - place) <= reach]
        round_it = len(lengths) >= 2 and min(lengths) - reach <= place <= max(lengths) + reach
        if near or (round_it and max(lengths) - min(lengths) <= span / 2):
            return True
    return False


def blamed_wrongly(case: Case, answer: Answer) -> set[str]:
    """Whether a reading that was right is called wrong, alone, in a recording whose slips are known."""
    slips = {f"{kilos:g}" for kilos in getattr(case.talk, "wrong_kilos", ())}
    cells = [line.split(",") for line in answer.run_text.splitlines()]
    slipped = {c[0] for c in cells if "reading" in c[1:3] and slips & set(c[3:])}
    named = [set(re.findall(r"row (\d+)", f["text"])) for f in answer.findings if f["code"] in SLIPS]
    return {"right-reading-blamed"} if any(rows and not rows & slipped for rows in named) else set()


def _inside(case: Case, answer: Answer, branch: str) -> tuple[Array, Array, Array]:
    at, true = case.places(), case.truth(branch)
    force = answer.curve(branch, "force_N", at)
    u, u95 = answer.curve(branch, "u_N", at), answer.curve(branch, "u95_N", at)
    good = np.where(np.isnan(force), np.nan, np.abs(force - true) <= u95)
    return (force - true) / u, good, force - true


def _next(case: Case, answer: Answer, branch: str) -> Array:
    at = case.places()
    off = np.abs(answer.curve(branch, "force_N", at) - case.next_pull(branch))
    return np.where(np.isnan(off), np.nan, off <= answer.next_u95(branch, at))


def score(row: Row, case: Case, answer: Answer) -> BandScore:
    """A band's score; a series has one number, the difference at one length."""
    return _score_series(case, answer) if case.other else _score_curve(row, case, answer)


def _score_series(case: Case, answer: Answer) -> BandScore:
    none = np.full(1, np.nan)
    if not answer.printed:
        return BandScore(case.ident, none, none, none, none, none, np.nan, np.nan, False, (), answer.error)
    said = json.loads(answer.printed)["series"][0]
    assert case.other is not None
    at = said["length_m"]
    off = said["relative_difference"] - float(case.band.pull("loading", at) / case.other.pull("loading", at) - 1)
    u = said["u_relative_difference"]
    limit = said.get("u95_relative_difference", 1.96 * u)
    z = np.array([off / u])
    return BandScore(
        case.ident, z, none, np.array([abs(off) <= limit]) * 1.0, none, none, abs(off), abs(float(z[0])), False, ()
    )


def _score_curve(row: Row, case: Case, answer: Answer) -> BandScore:
    nothing = np.full(len(case.places()), np.nan)
    if answer.profile is None or answer.shown is None:
        return BandScore(
            case.ident, nothing, nothing, nothing, nothing, nothing, np.nan, np.nan, False, (), answer.error
        )
    z_out, in_out, off_out = _inside(case, answer, "loading")
    z_back, in_back, off_back = _inside(case, answer, "unloading")
    following = np.r_[_next(case, answer, "loading"), _next(case, answer, "unloading")]
    z = np.r_[z_out, z_back]
    worst = int(np.nanargmax(np.abs(z)))
    place = float(np.r_[case.places(), case.places()][worst])
    rms = float(np.sqrt(np.nanmean(np.r_[off_out, off_back] ** 2)) / case.band.out[-1])
    codes = {f["code"] for f in answer.findings}
    wrong = (codes & ACCUSING) - row.right
    wrong |= blamed_wrongly(case, answer) if case.talk else set()
    named = names(answer.findings, place, case.high - case.low)
    return BandScore(
        case.ident, z_out, z_back, in_out, in_back, following, rms, float(np.abs(z[worst])), named, tuple(sorted(wrong))
    )


@dataclass(frozen=True)
class RowScore:
    """A row summed up; shares are of places, `beyond` counts bands, silent where no doubt names the place."""

    name: str
    bands: int
    out: float
    back: float
    rms_z: float
    error_percent: float
    next_set: float
    beyond_5: int
    beyond_6_silent: int
    alarms: int
    alarm_codes: tuple[str, ...]
    refused: int
    worst: float

    def failings(self) -> list[str]:
        """Which of the bounds it does not hold."""
        held = {
            "out low": self.out >= 0.92,
            "back low": isnan(self.back) or self.back >= 0.92,
            "rms z": self.rms_z <= 1.15,
            "6 u": self.beyond_6_silent == 0,
            "next low": isnan(self.next_set) or self.next_set >= 0.92,
            "alarms": self.alarms <= max(1, 0.02 * self.bands),
            "refused": self.refused == 0,
        }
        return [what for what, good in held.items() if not good]

    def wide(self) -> list[str]:
        """Where the limits hold more than they need to: above 0.98."""
        shares = {"out": self.out, "back": self.back, "next": self.next_set}
        return [what for what, share in shares.items() if share > 0.98]

    def verdict(self) -> str:
        """What fails, what is wider than need be; or that it holds."""
        parts = [
            f"{word}: {', '.join(what)}" for word, what in (("fails", self.failings()), ("wide", self.wide())) if what
        ]
        return "; ".join(parts) or "holds"


def summed(name: str, scores: list[BandScore]) -> RowScore:
    used = [s for s in scores if not s.failed]
    z = np.concatenate([np.r_[s.z_out, s.z_back] for s in used]) if used else np.array([np.nan])
    codes = sorted({c for s in used for c in s.alarms})
    return RowScore(
        name,
        len(scores),
        _share(used, "inside_out"),
        _share(used, "inside_back"),
        float(np.sqrt(np.nanmean(z**2))),
        float(np.nanmean([s.error_share for s in used]) * 100) if used else float("nan"),
        _share(used, "next_inside"),
        sum(s.worst_z > 5 for s in used),
        sum(s.worst_z > 6 and not s.worst_named for s in used),
        sum(bool(s.alarms) for s in used),
        tuple(codes),
        len(scores) - len(used),
        float(np.nanmin([_lowest(used, "inside_out"), _lowest(used, "inside_back")])) if used else float("nan"),
    )


def _share(used: list[BandScore], what: str) -> float:
    values = np.concatenate([getattr(s, what) for s in used]) if used else np.array([np.nan])
    return float(np.nanmean(values)) if not np.isnan(values).all() else float("nan")


def _lowest(used: list[BandScore], what: str) -> float:
    """The coverage at the place where it is lowest, of places that half of the bands' curves reach."""
    if not used:
        return float("nan")
    inside = np.array([getattr(s, what) for s in used])
    reached = (~np.isnan(inside)).sum(axis=0) >= len(used) / 2
    return float(np.nanmean(inside[:, reached], axis=0).min()) if reached.any() else float("nan")
