"""Shared by the tests of this folder."""

from tests.firmware.conftest import emulator

__all__ = ["emulator"]
