"""What is closed at the end of its with-block, whatever happened in it."""

from abc import ABC, abstractmethod
from types import TracebackType
from typing import Self


class Closing(ABC):
    """Something open: a file that is written, a line that is listened to."""

    @abstractmethod
    def close(self) -> None:
        """Let it go; twice does no harm."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()
