"""What an assault tried and what came of it."""

from dataclasses import dataclass, field

MOST_TOLD = 20  # troubles of one assault in words


@dataclass
class Tally:
    """One row of the page."""

    what: str
    tried: int = 0
    refused: int = 0  # with one sentence; the others gave a sane answer
    lost: int = 0  # what had been acknowledged and was not there afterwards
    troubles: list[str] = field(default_factory=list)
    remark: str = ""

    @property
    def survived(self) -> int:
        """How many went as they should."""
        return self.tried - len(self.troubles)

    def count(self, trouble: str = "", *, refused: bool = False) -> None:
        """Add one try.

        Args:
            trouble: What went wrong with it; empty where nothing did.
            refused: Whether it was refused in one sentence.
        """
        self.tried += 1
        self.refused += refused
        if trouble:
            self.troubles.append(trouble)

    def told(self) -> str:
        """In words, for the terminal."""
        first = "".join(f"\n  {trouble}" for trouble in self.troubles[:MOST_TOLD])
        more = f"\n  and {len(self.troubles) - MOST_TOLD} more" if len(self.troubles) > MOST_TOLD else ""
        return f"{self.what}: {self.tried} tried, {self.survived} survived, {self.lost} lost{first}{more}"
