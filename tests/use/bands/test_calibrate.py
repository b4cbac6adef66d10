"""Where a fit's profile is written, and which day it is of."""

import os
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from calib.stamp import here_and_now
from calib.verbs.app import run

SAMPLE = Path(__file__).parents[3] / "sample_runs" / "KNEE.run.csv"


@pytest.fixture
def far_west() -> Iterator[None]:
    """Eleven hours behind UTC: for most of a day another date than there."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "XXX11"
    time.tzset()
    yield
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    time.tzset()


def test_bands_that_differ_in_case_alone_never_share_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for place, name in (("one", "Ab"), ("two", "ab")):
        Path(place).mkdir()
        text = SAMPLE.read_text("utf-8").replace('id = "KNEE"', f'id = "{name}"')
        Path(place, f"{name}.run.csv").write_text(text, "utf-8")
        assert run(["fit", f"{place}/{name}.run.csv", "--out", "profiles"]) == 0
    names = [path.name for path in Path("profiles").iterdir()]
    assert len(names) == 2
    assert len({name.casefold() for name in names}) == 2  # two files where a disk knows no case, too


def test_a_run_is_of_the_day_on_the_wall(far_west: None) -> None:
    now = here_and_now()
    assert now.utcoffset() == timedelta(hours=-11)
    assert now.date().isoformat() == time.strftime("%Y-%m-%d")
