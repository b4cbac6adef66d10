"""A band's whole curve, a run, or a fit as an answer. No file is read here, and nothing heavy is loaded."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from calib.profile import table
from calib.profile.document import Profile
from calib.profile.table import BranchName
from calib.units import SHOWN, Shown
from calib.use.answers.bands import BudgetRow, CurveAnswer, CurveRow, FittedBand, Loss, RunAnswer, RunRow
from calib.use.answers.parts import Coded, Pull, doubts
from calib.use.bands.predict import on_tape, pull_at

if TYPE_CHECKING:
    from calib.records import Row, Run

ROWS = 9  # lengths in the table: more do not fit a glance
STEPS = {  # what a tape is set to, in its own unit
    "m": (0.01, 0.02, 0.05, 0.1, 0.2, 0.25, 0.5, 1.0),
    "in": (0.5, 1.0, 2.0, 4.0, 6.0, 12.0, 24.0, 48.0),
}


def table_lengths(profile: Profile, shown: Shown = SHOWN["kg"], rows: int = ROWS) -> list[float]:
    """Half-path lengths at which the tape reads round numbers over the tested range, both ends of it included. [m]

    Args:
        profile: The band.
        shown: Units of the tape.
        rows: About how many.
    """
    offset = profile.half_path_less_tape or 0.0
    first, last = (x - offset for x in table.tested_range(profile.branches.loading))
    steps = [shown.metre * step for step in STEPS[shown.length]]
    step = next((s for s in steps if (last - first) / s <= rows - 1), (last - first) / (rows - 1))
    start, near = int(first / step) + 1, 0.3 * step
    round_ones = [step * i for i in range(start, start + rows + 1)]
    inside = [x for x in round_ones if first + near < x < last - near]
    ends = table.tested_range(profile.branches.loading)
    return [ends[0], *(x + offset for x in inside), ends[1]]


def curve_answer(
    profile: Profile,
    lengths: Sequence[float],
    *,
    file: str | None = None,
    figure: str | None = None,
    beside: Iterable[Coded] = (),
) -> CurveAnswer:
    """A band's curve as an answer.

    Args:
        profile: The band.
        lengths: Half-path lengths of its table. [m]
        file: Its file.
        figure: Where a figure of it was written.
        beside: Findings of the band as a whole.
    """
    band, held, lost = profile.band, profile.conditions, profile.hysteresis
    return CurveAnswer(
        band=band.id,
        day=profile.made.measured_at,
        findings=doubts([*beside, *profile.findings]),
        file=file,
        figure=figure,
        flat_length_m=band.flat_length_m,
        rest_half_path_m=band.rest_half_path_m,
        tape_kind=profile.gear.tape_kind,
        half_path_less_tape_m=profile.half_path_less_tape,
        strands=band.strands,
        method=held.method,
        scale=profile.gear.scale,
        cycles=held.cycles,
        dwell_s=held.dwell_s,
        temperature_C=held.temperature_C,
        note=band.note,
        between_days_assumed=profile.repeatability.between_day_assumed,
        table=tuple(_row(profile, length) for length in lengths),
        loss=None
        if lost is None
        else Loss(lost.from_m, lost.to_m, lost.energy_in_J, lost.energy_lost_J, lost.loss_ratio, lost.u_loss_ratio),
        budget=tuple(
            BudgetRow(
                b.source, b.type, b.u_N.low, b.u_N.middle, b.u_N.top, b.share.low, b.share.middle, b.share.top
            )
            for b in profile.budget
        ),
    )  # fmt: skip


def _row(profile: Profile, length: float) -> CurveRow:
    return CurveRow(
        length_m=length,
        tape_m=on_tape(profile, length),
        stretch=length / profile.band.rest_half_path_m,
        loading=_pull(profile, "loading", length),
        unloading=_pull(profile, "unloading", length),
    )


def _pull(profile: Profile, name: BranchName, length: float) -> Pull | None:
    branch = profile.branch(name)
    if branch is None or not table.holds(branch, length):
        return None
    return pull_at(profile, table.estimate(branch, length))


def fitted_band(profile: Profile, file: str, readings: int) -> FittedBand:
    """One fitted band: its pull at the round length in the middle of its tape.

    Args:
        profile: As it was written.
        file: Where to.
        readings: How many were used.
    """
    lengths = table_lengths(profile)
    middle = lengths[len(lengths) // 2]
    loading = _pull(profile, "loading", middle)
    assert loading is not None
    return FittedBand(
        band=profile.band.id,
        day=profile.made.measured_at,
        file=file,
        readings=readings,
        cycles=profile.conditions.cycles,
        length_m=middle,
        tape_m=on_tape(profile, middle),
        loading=loading,
        unloading=_pull(profile, "unloading", middle),
        findings=doubts(profile.findings),
    )


def run_answer(
    run: "Run", file: str, findings: Sequence[Coded], not_fitted: str | None, figure: str | None = None
) -> RunAnswer:
    """A run as an answer.

    Args:
        run: The run.
        file: Its file.
        findings: Of its fit, or of its reading where it cannot be fitted.
        not_fitted: Why it cannot be fitted yet.
        figure: Where a figure of it was written.
    """
    head = run.head
    return RunAnswer(
        band=head.band.id,
        day=head.started.date().isoformat() if head.started else None,
        findings=doubts(findings),
        file=file,
        figure=figure,
        method=head.procedure.method,
        flat_length_m=head.band.flat_length,
        rows=tuple(
            RunRow(
                r.number, r.kind, r.cycle, r.branch, r.length, r.force, r.mass, r.counts, _remark(r),
                run.struck.get(r.number),
            )
            for r in run.rows
        ),
        not_fitted=not_fitted,
    )  # fmt: skip


def _remark(row: "Row") -> str:
    """What a row is about, and its note."""
    about = f"row {row.about}" if row.kind == "strike" else row.about
    return ": ".join(filter(None, (about, row.note)))
