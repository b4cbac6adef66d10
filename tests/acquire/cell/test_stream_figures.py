"""What is said of a stream beside its value: the noise of one reading, whatever the force does meanwhile."""

import numpy as np
import pytest

from calib.acquire.cell.lines import Record
from calib.acquire.cell.stream_figures import StreamFigures


def _noise(values: np.ndarray) -> float:
    figures = StreamFigures()
    for i, value in enumerate(values):
        figures.add(Record(i / 10, "reading", "", value=float(value), unit="kg"))
    assert figures.noise is not None
    return figures.noise


@pytest.mark.parametrize("sd", [0.002, 0.05, 1.5])
@pytest.mark.parametrize("slope", [0.0, 0.4])
def test_noise_is_the_scatter_of_one_reading_at_rest_and_in_an_even_pull(sd: float, slope: float) -> None:
    rng = np.random.default_rng(4)
    found = [_noise(slope * np.arange(100) + rng.normal(size=100) * sd) for _ in range(60)]
    assert float(np.mean(found)) == pytest.approx(sd, rel=0.05)


def test_a_pull_that_begins_and_ends_makes_no_noise() -> None:
    pull = np.clip((np.arange(100) - 30) * 0.4, 0.0, 12.0)
    assert _noise(pull) < 1e-12
    assert _noise(np.round(pull + 0.003 * np.sin(np.arange(100) * 7.0), 3)) < 0.006


def test_a_line_that_flickers_by_one_step_now_and_then_has_noise() -> None:
    assert 0.001 < _noise(np.where(np.arange(100) % 4 == 0, 4.87, 4.88)) < 0.006
