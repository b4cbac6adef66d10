"""A bend that no reading saw: nothing at the lengths read, allowed for between a few, in u, factors and budget."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from calib.acquire.recording.course import UNTIL
from calib.fit.curve.estimate import fit_runs
from calib.fit.curve.tension_curve import UNREAD
from calib.records import Array, Fit, Row, Run
from tests.fit.curve.made_runs import run

FOUR, FIVE = (1.2, 1.4, 1.75, 2.2), (1.2, 1.36, 1.55, 1.85, 2.2)


def taken(lengths: tuple[float, ...]) -> Run:
    rows = [
        Row(i, "reading", 1 + i // len(lengths), "loading", x, 60 * (x - x**-2) * (1 + 0.5 / x))
        for i, x in enumerate(lengths * 2)
    ]
    return run(rows)


def shifts(fit: Fit) -> list[Array]:
    return [f.loading for f in fit.curve.factors if f.source.startswith(UNREAD)]


def test_each_gap_between_four_lengths_has_a_factor_that_is_nothing_where_it_was_read() -> None:
    fit = fit_runs([taken(FOUR)])
    out = fit.curve.loading
    found = shifts(fit)
    assert len(found) == 3
    offset = out.length[0] - FOUR[0]
    for i, shift in enumerate(found):
        inside = (out.length - offset > FOUR[i] + 1e-6) & (out.length - offset < FOUR[i + 1] - 1e-6)
        assert (shift[inside] > 0).all()
        assert shift[~inside] == pytest.approx(0.0, abs=1e-6)
        assert 0.01 < (shift / out.force).max() < 0.03
    squares = sum((f.loading**2 for f in fit.curve.factors), out.rest**2)
    assert squares == pytest.approx(out.u**2)
    assert UNREAD in {line.source for line in fit.budget}
    assert sum(line.share[1] for line in fit.budget) == pytest.approx(1.0)


def test_at_a_length_read_the_limits_are_those_without_it_and_midway_they_are_wider() -> None:
    four, chosen = fit_runs([taken(FOUR)]), taken(FOUR)
    without = fit_runs([replace(chosen, head=replace(chosen.head, extensions={UNTIL: {}}))]).curve.loading
    out, offset = four.curve.loading, four.curve.loading.length[0] - FOUR[0]

    def wider(taped: float) -> float:
        at = taped + offset
        return float(np.interp(at, out.length, out.u95) / np.interp(at, without.length, without.u95))

    assert [wider(x) for x in FOUR] == pytest.approx([1.0] * 4, rel=0.01)
    assert all(wider((a + b) / 2) > 1.2 for a, b in pairwise(FOUR))


def test_five_lengths_show_a_bend_themselves() -> None:
    assert not shifts(fit_runs([taken(FIVE)]))
