"""A zero nobody read again, and a display that cuts off: what is corrected, and what is allowed for."""

from dataclasses import replace

import numpy as np
import pytest

from calib.acquire.files.run_file import format_head
from calib.acquire.files.run_head import parse_head
from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.observations import observe
from calib.records import Row, Run
from tests.campaigns.simulated_bands.measuring import measure
from tests.campaigns.simulated_bands.worlds import BY_NAME


@pytest.fixture(scope="module")
def run() -> Run:
    return measure(BY_NAME["hook"], 5).run


def _with_zeros(run: Run, first: bool, last: bool) -> Run:
    n = len(run.rows) + 2
    rows = [*[Row(1, "zero", force=0.0)] * first, *(replace(r, number=r.number + 1) for r in run.rows)]
    return replace(run, rows=(*rows, *[Row(n, "zero", force=0.0)] * last))


def _source(run: Run, name: str) -> np.ndarray:
    found = [s.force for s in observe([run]).sources if s.name == name]
    return found[0] if found else np.zeros(len(run.readings))


def test_a_zero_read_at_the_end_leaves_nothing_unseen(run: Run) -> None:
    assert not _source(_with_zeros(run, True, True), "zero not read at the end").any()
    assert not _source(run, "zero not read at the end").any()  # no zero row: the head says how well it is known


def test_without_one_the_doubt_grows_to_the_last_reading_and_is_said(run: Run) -> None:
    half = _with_zeros(run, True, False)
    unseen = _source(half, "zero not read at the end")
    assert (np.diff(unseen) > 0).all()
    assert unseen[-1] >= 2 * run.head.scale.resolution  # type: ignore[union-attr]
    fit = fit_runs([half])
    assert any(f.code == "zero-drift" and "no zero was read" in f.text for f in fit.findings)
    assert any(line.source == "zero not read at the end" for line in fit.budget)


def _shows(run: Run, display: str | None) -> Run:
    scale = run.head.scale
    assert scale is not None
    return replace(run, head=replace(run.head, scale=replace(scale, display=display)))  # type: ignore[arg-type]


def test_a_display_that_cuts_off_is_corrected_by_half_a_step(run: Run) -> None:
    step = run.head.scale.resolution  # type: ignore[union-attr]
    plain, cut = observe([_shows(run, "rounds")]), observe([_shows(run, "cuts-off")])
    np.testing.assert_allclose(cut.pull - plain.pull, step / 2)
    assert not _source(_shows(run, "rounds"), "cut of the display").any()
    np.testing.assert_allclose(_source(_shows(run, None), "cut of the display"), step / 2)


def test_a_zero_that_is_cut_off_too_takes_it_away_again(run: Run) -> None:
    step = run.head.scale.resolution  # type: ignore[union-attr]
    rows = (Row(1, "zero", force=2 * step), *(replace(r, number=r.number + 1) for r in run.rows))
    both = replace(run, rows=(*rows, Row(99, "zero", force=2 * step)))
    np.testing.assert_allclose(observe([_shows(both, "cuts-off")]).pull, observe([_shows(both, "rounds")]).pull)


def test_the_head_keeps_what_the_display_does(run: Run) -> None:
    text = format_head(_shows(run, "cuts-off").head)
    assert text.startswith('# format = "bandcurve-run/2"')
    head = parse_head("\n".join(line.removeprefix("# ") for line in text.splitlines()), "x")
    assert head.scale is not None
    assert head.scale.display == "cuts-off"


def test_a_band_that_loses_in_every_cycle_widens_the_next(run: Run) -> None:
    def falling(share: float) -> Run:
        rows = (
            replace(r, force=r.force * (1 - share * ((r.cycle or 1) - 1))) if r.force and r.cycle else r
            for r in run.rows
        )
        return replace(run, rows=tuple(rows))

    still, falls = (fit_runs([falling(share)]).repeatability.cycle_gain for share in (0.0, 0.03))
    assert falls > still + 0.02
