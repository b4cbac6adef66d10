"""The standing attack as far as seconds go; `python -m tests.campaigns.attack` takes minutes to hours."""

from collections.abc import Callable

import pytest

from tests.campaigns.attack.__main__ import assaults
from tests.campaigns.attack.tally import Tally


@pytest.mark.slow
@pytest.mark.parametrize("assault", list(assaults(0, 1)))
def test_nothing_is_lost_and_nothing_let_in(assault: Callable[[], Tally]) -> None:
    done = assault()
    assert done.tried
    assert not done.lost and not done.troubles, done.told()
