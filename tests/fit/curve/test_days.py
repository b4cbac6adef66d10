"""Runs of several days: each day has a gain, the curve is the mean over days, and the next day differs as they do."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from calib.assumptions import assuming
from calib.errors import DataError
from calib.fit.curve.days import assumed
from calib.fit.curve.estimate import fit_runs
from calib.profile.build import profile_of
from calib.records import Run
from tests.campaigns.simulated_bands.measuring import measure
from tests.campaigns.simulated_bands.worlds import BY_NAME


def _day(run: Run, day: int, gain: float) -> Run:
    rows = tuple(replace(r, force=None if r.force is None else r.force * gain) for r in run.rows)
    return replace(
        run, name=f"{day}.run.csv", rows=rows, head=replace(run.head, started=datetime(2027, 3, day, tzinfo=UTC))
    )


@pytest.fixture(scope="module")
def run() -> Run:
    return measure(BY_NAME["ogden"], 11).run


def test_one_day_takes_the_size_from_the_table(run: Run) -> None:
    found = fit_runs([run]).repeatability
    assert found.between_day_assumed
    assert found.days == 1
    assert found.between_day_gain == pytest.approx(assumed().size * 2**0.5)
    with assuming({"between_day_gain": 0.03}):
        assert fit_runs([run]).repeatability.between_day_gain == pytest.approx(2 * found.between_day_gain)


def test_days_far_apart_make_mean_and_next_set_wider(run: Run) -> None:
    near, far = (fit_runs([_day(run, 1, 1 - d), _day(run, 2, 1 + d)]) for d in (0.0, 0.02))
    assert not far.repeatability.between_day_assumed
    assert far.repeatability.days == 2
    assert far.repeatability.between_day_gain > 1.5 * near.repeatability.between_day_gain
    doubts = [np.median(f.curve.loading.u / f.curve.loading.force) for f in (near, far)]
    assert doubts[1] > max(0.01, 1.2 * doubts[0])
    assert any(line.source == "from day to day" for line in far.budget)


def test_two_runs_of_one_day_are_one_day(run: Run) -> None:
    again = replace(_day(run, 1, 1.0), name="again.run.csv")
    assert fit_runs([_day(run, 1, 1.0), again]).repeatability.between_day_assumed


def test_a_run_without_a_date_is_a_day_of_its_own_and_a_finding_says_so(run: Run) -> None:
    fit = fit_runs([_day(run, 1, 1.0), replace(_day(run, 2, 1.01), head=replace(run.head, started=None))])
    assert fit.repeatability.days == 2
    assert "2.run.csv" in next(f.text for f in fit.findings if f.code == "no-date")


def test_the_profile_keeps_what_was_learnt_and_what_was_assumed(run: Run) -> None:
    with assuming({"between_day_gain": 0.02}):
        made = profile_of(fit_runs([_day(run, 1, 0.99), _day(run, 2, 1.01)]), "x")
    assert made.made.assumed == {"between_day_gain": 0.02}
    assert made.repeatability.days == 2
    assert 0 < (made.repeatability.u_between_day_gain or 0) < made.repeatability.between_day_gain
    at = made.estimate(float(np.mean(made.branches.loading.length_m)))
    assert made.u95_next(at) > at.u95


@pytest.mark.parametrize("name, number", [("between_day_gane", 0.01), ("between_day_gain", 1.0)])
def test_an_assumption_out_of_range_or_unknown_is_one_sentence(name: str, number: float) -> None:
    with pytest.raises(DataError) as caught, assuming({name: number}):
        pass
    assert caught.value.remedy
