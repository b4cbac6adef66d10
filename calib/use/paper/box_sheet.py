"""A box of bands on one page for the wall: what each pulls, its level, its partner, what else to do with it."""

from collections.abc import Mapping, Sequence

from calib.profile.batch_document import Batch, BatchBand
from calib.units import SHOWN, Shown
from calib.use.answers.bands import PairAnswer
from calib.use.paper.wall_page import Kind, WallPage, wall_sheet
from calib.use.report.layout import clean, sentence
from calib.use.report.sheet import Paper
from calib.use.report.view import length, other_units

MOST = 36  # bands on a page
CAUTION = (
    "Look every band over before you use it. Nick, crack, sticky patch: throw it away. The rules of your "
    "place come first."
)


def box_sheet(
    batch: Batch,
    pairs: PairAnswer | None,
    name: str,
    leads_to: str,
    kind: Kind,
    paper: Paper = "a4",
    shown: Shown = SHOWN["kg"],
) -> bytes:
    """Draw the page.

    Args:
        batch: The record of the box, at most 36 bands.
        pairs: Left and right of its bands; None where there are none.
        name: Of the box.
        leads_to: What the code says.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
    """
    return wall_sheet(_page(batch, pairs, name, leads_to, shown), None, kind, paper)


def _page(batch: Batch, pairs: PairAnswer | None, name: str, leads_to: str, shown: Shown) -> WallPage:
    also, count = other_units(shown), len(batch.bands)
    at = " / ".join(length(batch.length_m, s) for s in (shown, also)) if batch.length_m else ""
    made = pairs.pairs if pairs else ()
    partner = {band: p.bands[1 - i] for p in made for i, band in enumerate(p.bands)}
    apart = [f"{' + '.join(p.bands)} {shown.pull(p.upper95_mean_N)}" for p in made]
    left_right = f"Left + right, apart at most ({shown.force}, 95 %, averages): {', '.join(apart)}."
    return WallPage(
        name=name,
        under=(f"{count} band{'s' * (count != 1)}", *((f"pull loading at half-path length {at}",) if at else ())),
        leads_to=leads_to,
        headers=("band", f"flat {shown.length}", shown.force, also.force, f"± {shown.force}", "level", "with"),
        rows=tuple(_row(band, partner, shown, also) for band in batch.bands),
        table_note="± 95 %, of the band's average. Level: pull against the mean of its size, at one stretch.",
        notes=(CAUTION, *_to_do(batch.bands), *([left_right] if apart else [])),
        foot=f"Code: {leads_to}. Made with bandcurve.",
    )


def _row(band: BatchBand, partner: Mapping[str, str], shown: Shown, also: Shown) -> tuple[str, ...]:
    sound = band.verdict in (None, "pair", "alone")
    return (
        clean(band.id),
        shown.tape(band.flat_length_m),
        shown.pull(band.force_N) if band.force_N is not None else "-",
        also.pull(band.force_N, 1) if band.force_N is not None else "-",
        shown.pull(band.u95_N) if band.u95_N is not None else "-",
        f"{100 * (band.level - 1):+.1f} %",
        partner.get(band.id, "-") if sound else str(band.verdict),
    )


def _to_do(bands: Sequence[BatchBand]) -> list[str]:
    """What is to be done with bands that are not simply paired, the reason with each."""
    said = [b for b in bands if b.verdict not in (None, "pair")]
    return [sentence(f"{b.id}: {b.verdict}{f', {b.why}' if b.why else ''}") for b in said]
