"""A key for what is kept of an object: only the very same object equals it, and no other can while the key is kept.

For frozen objects that are large to compare: an answer kept under such a key is never that of another.
"""

from typing import Generic, TypeVar

Kind = TypeVar("Kind")


class Itself(Generic[Kind]):
    """An object as a key."""

    __slots__ = ("it",)

    def __init__(self, it: Kind) -> None:
        self.it = it

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Itself) and other.it is self.it

    def __hash__(self) -> int:
        return id(self.it)
