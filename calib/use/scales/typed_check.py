"""Readings of a check as they are typed: which way a load was hung follows from the one before."""

from dataclasses import replace

from calib.acquire.files.check_table import CheckRow
from calib.frozen import dataclass
from calib.records import BranchName


@dataclass(frozen=True)
class Sheet:
    """Readings typed so far."""

    unit: str
    litres: bool
    rows: tuple[CheckRow, ...] = ()

    @property
    def known_unit(self) -> str:
        """Of a known load that is typed without one."""
        return "l" if self.litres else "lb" if self.unit in ("lb", "lbf") else "kg"

    def with_row(self, pieces: tuple[float, ...], shown: float) -> "Sheet":
        """One more; a smaller load than the one before is on the way down."""
        row = CheckRow(pieces, shown, self._branch_of(sum(pieces)), 0)
        return replace(self, rows=(*self.rows, row))

    def _branch_of(self, total: float) -> BranchName:
        if not self.rows:
            return "loading"
        before = sum(self.rows[-1].pieces)
        if total > before:
            return "loading"
        if total < before:
            return "unloading"
        top = max(sum(r.pieces) for r in self.rows)
        return "unloading" if total == top and before == top else self.rows[-1].branch
