"""What is known of bands as parts of a box: the verdict its record has of each, and pairs that somebody keeps together.

A verdict is of the calibration it was made from: a band measured again has none until `batch fit` is run again.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import BandcurveError
from calib.finding import Finding
from calib.profile.batch_document import NAME, load_batch

if TYPE_CHECKING:
    from calib.profile.batch_document import BatchBand
    from calib.use.bands.lookup import Found


def with_verdicts(found: "Sequence[Found]") -> "list[Found]":
    """The bands, each with what the record of the box beside its profile says to do with it.

    Args:
        found: As they were looked up.
    """
    records: dict[Path, dict[str, BatchBand]] = {}
    told = []
    for one in found:
        folder = one.path.parent
        if folder not in records:
            records[folder] = _bands_of(folder / NAME)
        told.append(_with_verdict(one, records[folder].get(one.path.name)))
    return told


def _bands_of(record: Path) -> "dict[str, BatchBand]":
    """Its bands by the name of their profile; none where there is no record, or none that can be read."""
    with suppress(BandcurveError):  # whoever asks for the batch itself is told
        return {band.profile: band for band in load_batch(record).bands}
    return {}


def _with_verdict(one: "Found", band: "BatchBand | None") -> "Found":
    if band is None or band.verdict in (None, "pair"):
        return one
    why = f": {band.why}" if band.why else ""
    said = Finding("box-verdict", f"{one.name}: the record of its box says {band.verdict}{why}")
    own = [f for f in one.findings if f.text not in (band.why or "")]  # said once
    return replace(one, findings=(*own, said), verdict=band.verdict or "")


def kept_pairs(found: "Sequence[Found]") -> list[tuple[int, int]]:
    """Left and right of pairs that somebody keeps together, by their place among the bands.

    A pair whose band is retired or in doubt does not stand as long as it is.

    Args:
        found: As they were looked up, each band once.
    """
    at = {one.band.id: j for j, one in enumerate(found) if one.band}
    pairs = []
    for i, a in enumerate(found):
        j = at.get(a.band.partner, -1) if a.band and a.band.partner else -1
        if i < j and not (a.is_held or found[j].is_held):
            pairs.append((i, j) if a.band and a.band.hangs == "left" else (j, i))
    return pairs
