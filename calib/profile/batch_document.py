"""The record of a batch measured together: its fields, reading and writing. Nothing is worked out here."""

from pathlib import Path
from typing import Annotated, Any

from calib import versioned
from calib.checked import Field, Limits, Part
from calib.profile.parts import BandId, ProfileFinding
from calib.safe_write import write_atomically
from calib.strict_json import read_json
from calib.versioned import NotNegative, Positive

FORMAT = versioned.Version("bandcurve-batch", 1, 1)
CAP_BYTES = 16_000_000
NAME = "batch.json"


class BatchBand(Part):
    """One band of the batch."""

    id: BandId
    runs: tuple[str, ...] = Field(description="Run files it was made from.")
    profile: str = Field(description="Its profile, a file beside this one.")
    flat_length_m: Positive
    mass_kg: Positive | None
    readings: Annotated[int, Limits(ge=0)] = Field(description="In use.")
    lengths: Annotated[int, Limits(ge=0)] = Field(description="Different loading lengths.")
    borrowed: bool = Field(description="Whether the shape of its curve comes from other bands of the batch.")
    outlying: bool = Field(description="Whether its shape is not that of the batch.")
    size: Annotated[int, Limits(ge=1)] = Field(description="Which of the nominal sizes; 1 where there is one only.")
    level: Positive = Field(description="Pull at the reference stretch over the mean of its size.")
    u_level: NotNegative = Field(description="Its own part: what all bands share is left out.")
    force_N: Positive | None = Field(description="Loading pull at `length_m`; null where it does not reach.")
    u_N: NotNegative | None
    u95_N: NotNegative | None
    verdict: str | None = Field(
        default=None, description="pair, alone, look at it, measure again or retire; null before version 1.1."
    )
    why: str | None = Field(default=None, description="Why, in a sentence; empty where nothing speaks against it.")


class BatchSize(Part):
    """Bands of one nominal size."""

    bands: tuple[BandId, ...]
    force_N: Positive = Field(description="Mean pull at the reference stretch.")
    spread: NotNegative | None = Field(description="Relative sd of the pull from band to band; null for one band.")
    u_spread: NotNegative | None
    flat_length_spread: NotNegative | None = Field(description="Relative sd of the flat length.")


class MeasureMore(Part):
    """The band that most needs a reading."""

    id: BandId
    why: str


class FailedFile(Part):
    """A file that could not be used."""

    file: str
    error: str


class Batch(Part):
    """A batch of nominally equal bands, measured together."""

    format: str
    by: str
    stretch: Positive | None = Field(description="Levels are compared at this stretch ratio; null without bands.")
    length_m: Positive | None = Field(description="Half-path length of the table; null where bands share none.")
    bands: tuple[BatchBand, ...]
    sizes: tuple[BatchSize, ...]
    shape_from: tuple[BandId, ...]
    measure_more: MeasureMore | None
    findings: tuple[ProfileFinding, ...]
    failed: tuple[FailedFile, ...]
    extensions: dict[str, Any] = Field(default_factory=dict)


def load_batch(path: Path) -> Batch:
    """Read the record of a batch.

    Raises:
        FileError: It cannot be read.
        DataError: It is none, or one this program cannot read.
    """
    return versioned.validate(Batch, read_json(path, CAP_BYTES), FORMAT, path.name)


def save_batch(batch: Batch, path: Path) -> None:
    """Write the record of a batch, whole or not at all; an existing file is replaced."""
    write_atomically(path, versioned.to_json(batch))
