"""Shared by the tests of this folder."""

import pytest

from tests.firmware.harness import skip_without_emulator


@pytest.fixture
def emulator() -> None:
    """Skip where the emulator cannot be built, with the reason."""
    skip_without_emulator()
