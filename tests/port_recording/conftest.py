"""Shared by the tests of this folder."""

from tests.emulated_board.conftest import emulator

__all__ = ["emulator"]
