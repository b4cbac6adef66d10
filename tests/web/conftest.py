"""One Chromium for all tests of a file: each has a context of its own in it.

Not for the whole session: while it runs, its driver keeps an event loop going, and no other test could start one.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.web.browser import chromium


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """The browser, without a window."""
    with chromium() as running:
        yield running
