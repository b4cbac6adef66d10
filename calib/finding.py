"""A doubt about a result, carried along with it: neither an error nor a printed warning. The codes are a closed list.

Every code has a page in docs/findings.md; a test holds the two lists together.
"""

from calib.frozen import dataclass

CODES = frozenset(
    {
        "above-capacity",
        "anchor-may-lift",
        "anchor-may-slide",
        "anchor-may-tip",
        "band-lets-go",
        "band-retired",
        "band-slack",
        "band-softened",
        "band-suspect",
        "band-wear",
        "bar-may-lift",
        "box-verdict",
        "branches-cross",
        "check-load-drift",
        "check-load-off",
        "creep-at-top",
        "curled-start",
        "cycle-trend",
        "different-conditions",
        "different-flat-lengths",
        "dwell-varies",
        "few-lengths",
        "few-low-stretch",
        "file-not-read",
        "force-falls",
        "fore-aft-pull",
        "gross-error",
        "hitch-estimated",
        "invented-data",
        "left-out",
        "loading-order",
        "locking-scale",
        "mixed-sizes",
        "no-date",
        "no-temperature",
        "no-unloading",
        "not-repeatable",
        "older-profile",
        "one-cycle",
        "one-day-apart",
        "one-profile-for-two",
        "outlying-band",
        "outside-tested",
        "over-working-stretch",
        "place-assumed",
        "readings-set-aside",
        "recheck-failed",
        "register-differs",
        "scale-check-old",
        "scale-unchecked",
        "rig-disagrees",
        "set",
        "shape-borrowed",
        "shape-held",
        "sharp-bend",
        "sides-unequal",
        "single-negative",
        "slow-drift",
        "several-folders",
        "steep-top",
        "stiffens-at-top",
        "stray-reading",
        "thickness-assumed",
        "weight-of-band",
        "zero-drift",
    }
)


@dataclass(frozen=True)
class Finding:
    """One doubt: a code from the closed list and a sentence for the user."""

    code: str
    text: str

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"unknown finding code {self.code!r}")
