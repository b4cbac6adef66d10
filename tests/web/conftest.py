"""One Chromium for all tests of the page: each test has a context of its own in it."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser

from tests.web.browser import chromium


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The browser, without a window."""
    with chromium() as running:
        yield running
