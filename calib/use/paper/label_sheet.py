"""Labels for bands that were measured: name, code, day, flat length, pulls at three lengths, in kg and lb."""

from collections.abc import Sequence

from calib.profile.document import Profile
from calib.units import SHOWN, Shown
from calib.use.bands.curve_answer import table_lengths
from calib.use.paper.wall_page import Kind, one_page
from calib.use.report.labels import ON_A_PAGE, Label, draw_labels
from calib.use.report.layout import clean
from calib.use.report.sheet import Paper
from calib.use.report.view import other_units

MOST = ON_A_PAGE
PULLS = 3  # lengths on a label


def label_sheet(
    profiles: Sequence[Profile], kind: Kind, paper: Paper = "a4", shown: Shown = SHOWN["kg"], links: Sequence[str] = ()
) -> bytes:
    """Draw a page of labels.

    Args:
        profiles: At most 21.
        kind: "pdf", "png" or "html".
        paper: "a4" or "letter".
        shown: Units that come first.
        links: What each code says; the band's name if none are given.
    """
    labels = [_label(p, shown, link) for p, link in zip(profiles, links or [""] * len(profiles), strict=True)]
    return one_page(lambda _, axes: draw_labels(axes, labels, paper), "Labels of bands", kind, paper)


def _label(profile: Profile, shown: Shown, link: str) -> Label:
    also, offset = other_units(shown), profile.half_path_less_tape or 0.0
    lengths = table_lengths(profile, shown, 9)
    chosen = [lengths[i * (len(lengths) - 1) // (PULLS - 1)] for i in range(PULLS)] if len(lengths) > 1 else lengths
    pulls = [
        f"{shown.tape(at - offset)[:-1]} {shown.length}: {shown.pull(force, 1)} {shown.force} / "
        f"{also.pull(force, 0 if also.force == 'lb' else 1)} {also.force}"
        for at, force in ((at, profile.force(at)) for at in dict.fromkeys(chosen))
    ]
    flat = " / ".join(f"{s.tape(profile.band.flat_length_m)} {s.length}" for s in (shown, also))
    of = "tape" if profile.half_path_less_tape is not None else "half path"
    note = f"loading, {of}, {profile.made.measured_at or 'date not recorded'}"
    return Label(clean(profile.band.id, 40), note, flat, tuple(pulls), link)
