"""Days that a file may hold: those of the calendar, from 1900 to 2199. One that is none stops that file, no other."""

import json
import re
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import get_args

import pytest

from calib.acquire.files.run_file import read_run
from calib.errors import DataError
from calib.stamp import calendar_day
from calib.verbs.app import run as bandcurve
from calib.versioned import IsoDate

SAMPLES = Path(__file__).parents[2] / "sample_runs"
NO_DAYS = ("2026-02-30", "2025-02-29", "2100-02-29", "0000-01-01", "9999-12-31", "2026-13-01", "2026-04-31")


def test_the_pattern_of_a_day_is_the_calendar() -> None:
    pattern = re.compile(get_args(IsoDate)[1].limits["pattern"])
    day, there = date(1890, 1, 1), set()
    while day < date(2210, 1, 1):
        there |= {day.isoformat()} if 1900 <= day.year <= 2199 else set()
        day += timedelta(days=1)
    written = (f"{y}-{m:02}-{d:02}" for y in range(1890, 2210) for m in range(14) for d in range(33))
    assert {text for text in written if pattern.match(text)} == there


@pytest.mark.parametrize("day", NO_DAYS)
def test_a_day_that_is_none_in_a_profile_costs_no_other_band(
    day: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("KNEE", "LONG"):
        shutil.copy(SAMPLES / f"{name}.profile.json", tmp_path)
    document = json.loads((tmp_path / "LONG.profile.json").read_text("utf-8"))
    document["made"]["measured_at"] = day
    (tmp_path / "LONG.profile.json").write_text(json.dumps(document), encoding="utf-8")
    assert bandcurve(["list"]) == 1
    said = capsys.readouterr()
    assert "KNEE" in said.out
    assert "LONG.profile.json" in said.err
    assert "fault" not in said.err


def test_a_run_of_the_year_9999_is_refused(tmp_path: Path) -> None:
    text = (SAMPLES / "LONG.run.csv").read_text("utf-8")
    changed = re.sub(r"(# started = )\d{4}", r"\g<1>9999", text)
    assert changed != text
    (tmp_path / "LONG.run.csv").write_text(changed, encoding="utf-8")
    with pytest.raises(DataError, match="year 9999"):
        read_run(tmp_path / "LONG.run.csv")


@pytest.mark.parametrize("text", NO_DAYS)
def test_a_log_holds_no_such_day_either(text: str) -> None:
    with pytest.raises(ValueError, match=r"day|month|isoformat|year|" + text):
        calendar_day(text)
