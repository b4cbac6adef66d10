"""A number in a file's head that is infinite or none is refused, however deep it stands."""

import math

import pytest

from calib.errors import DataError
from calib.unit_keys import refuse_not_finite


@pytest.mark.parametrize("number", [math.inf, -math.inf, math.nan, 10**400, {"a": [1.0, {"b": math.nan}]}, [math.inf]])
def test_a_number_that_is_not_finite_is_refused(number: object) -> None:
    with pytest.raises(DataError, match="not a finite number"):
        refuse_not_finite(number, "tension", "x")


@pytest.mark.parametrize("value", [0, 1e308, -1.5, 10**300, "inf", True, None, {"a": [1, "nan"]}])
def test_anything_else_is_not(value: object) -> None:
    refuse_not_finite(value, "tension", "x")
