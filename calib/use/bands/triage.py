"""What to do with each band of a box: pair it, use it alone, look at it, measure it again, retire it.

From what its own runs say, its shape, its level in its size, and what people and re-checks said of it. The order is
that of urgency: a band to be retired is not looked at first. Nothing is fitted here.
"""

from collections.abc import Mapping, Sequence
from math import log
from typing import Literal

from calib.finding import Finding
from calib.frozen import dataclass
from calib.use.answers.parts import Coded
from calib.use.bands.batch_levels import BandLevel, BatchMember

Word = Literal["pair", "alone", "look at it", "measure again", "retire"]
WORDS: tuple[Word, ...] = ("pair", "alone", "look at it", "measure again", "retire")
RETIRE = frozenset({"band-retired", "band-softened"})
AGAIN = frozenset({"branches-cross", "force-falls", "not-repeatable", "one-day-apart", "recheck-failed"})
LOOK = frozenset({"band-suspect"})
PARTNER = 0.03  # levels further apart make no left and right that a rig would take; the share a rig names
EXPECTED = frozenset({"shape-borrowed"})  # of a band measured quickly: said in its own column


@dataclass(frozen=True)
class TriageVerdict:
    """What to do with a band."""

    word: Word
    why: str = ""


def verdicts(
    members: Sequence[BatchMember], levels: Sequence[BandLevel], known: Mapping[str, Sequence[Coded]]
) -> list[TriageVerdict]:
    """A verdict for each band.

    Args:
        members: The bands, in order.
        levels: Of each.
        known: Of some, what the register and their re-checks say.
    """
    found = [_of_itself(m, [*m.said, *known.get(m.id, ())]) for m in members]
    for n, verdict in enumerate(found):
        if verdict is not None:
            continue
        others = [levels[k] for k, other in enumerate(found) if k != n and (other is None or other.word == "pair")]
        near = [abs(log(o.level / levels[n].level)) for o in others if o.size == levels[n].size]
        partner = bool(near) and min(near) <= PARTNER
        found[n] = TriageVerdict("pair") if partner else TriageVerdict("alone", _alone(near))
    return [verdict or TriageVerdict("alone") for verdict in found]


def _of_itself(member: BatchMember, said: Sequence[Coded]) -> TriageVerdict | None:
    """What is said of the band itself; None where nothing speaks against it."""
    for word, codes in (("retire", RETIRE), ("measure again", AGAIN)):
        texts = [f.text for f in said if f.code in codes]
        if texts:
            return TriageVerdict(word, "; ".join(dict.fromkeys(texts)))  # type: ignore[arg-type]
    if not member.readings:
        return TriageVerdict("measure again", "it was never pulled: one reading gives its level")
    if member.outlying and member.borrowed:
        asked = "" if "eight" in member.departs else "; it was read at few lengths: measure it at eight"
        return TriageVerdict("measure again", f"{member.departs}{asked}")
    looks = [f.text for f in said if f.code in LOOK] + ([member.departs] if member.outlying else [])
    if looks:
        more = "; it was measured in full: look it over for a nick, or a different make" if member.outlying else ""
        return TriageVerdict("look at it", "; ".join(looks) + more)
    return None


def _alone(near: Sequence[float]) -> str:
    if not near:
        return "no other sound band has its size"
    return f"the nearest sound band of its size differs by {100 * min(near):.0f} %"


def by_word(ids: Sequence[str], found: Sequence[TriageVerdict]) -> list[tuple[Word, str, list[str]]]:
    """Bands with one verdict for one reason together, in the order of the words.

    Args:
        ids: Of the bands.
        found: The verdict of each.
    """
    groups: dict[tuple[Word, str], list[str]] = {}
    for band, verdict in zip(ids, found, strict=True):
        groups.setdefault((verdict.word, verdict.why), []).append(band)
    ordered = sorted(groups.items(), key=lambda item: WORDS.index(item[0][0]))
    return [(word, why, bands) for (word, why), bands in ordered]


def said_of_runs(members: Sequence[BatchMember]) -> list[tuple[Finding, list[str]]]:
    """What each band's own runs say, one entry a code: the first such sentence, and all bands it is said of."""
    found: dict[str, tuple[Finding, list[str]]] = {}
    for member in members:
        for one in member.said:
            if one.code not in EXPECTED and one.code != "outlying-band":
                _, bands = found.setdefault(one.code, (one, []))
                if member.id not in bands:
                    bands.append(member.id)
    return list(found.values())
