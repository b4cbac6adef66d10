"""Broken series and logs are one sentence, never a traceback: good files with pieces cut, doubled or made up."""

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.acquire.run_file import parse_run
from calib.acquire.series_file import parse_series
from calib.errors import BandcurveError, DataError
from calib.profile.rechecks import new_rechecks, parse_rechecks
from calib.profile.uses import new_log, parse_uses
from calib.use.rig_file import parse_rig
from calib.use.series import ratio_of
from tests.pairs.hooked import head

ROOT = Path(__file__).parents[2]
SERIES = (head("B1", "B2") + "1,1,3300,1650\n2,1,3500,1752\n").encode()
LOG = (new_log("B07") + '2026-04-01T18:00:00+00:00,2026-04-01,60,"squats"\n').encode()
CHECKS = (new_rechecks("B07") + "2026-04-01T18:00:00+00:00,2026-04-01,10,0.129,1432,band-inner,12 12,18,\n").encode()
PIECES = st.one_of(
    st.binary(max_size=12),
    st.sampled_from(
        [b"nan", b"1e999", b"-0", b"[first]", b'"', b",,,,", b"\n# ", b"9" * 400, b"9" * 5000, b"=", b"[[second]]"]
    ),
)


def mutilated(good: bytes, data: st.DataObject) -> bytes:
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(good)))
        end = min(len(good), at + data.draw(st.integers(0, 30)))
        good = good[:at] + data.draw(PIECES) + good[end:]
    return good


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_broken_series_is_one_sentence(data: st.DataObject) -> None:
    with suppress(BandcurveError):
        ratio_of(parse_series(mutilated(SERIES, data), "x.series.csv"))


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_broken_log_is_one_sentence(data: st.DataObject) -> None:
    with suppress(BandcurveError):
        parse_uses(mutilated(LOG, data), "x.uses.csv")


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_broken_list_of_rechecks_is_one_sentence(data: st.DataObject) -> None:
    with suppress(BandcurveError):
        parse_rechecks(mutilated(CHECKS, data), "x.rechecks.csv")


@pytest.mark.parametrize("digits", [400, 5000])
def test_a_number_with_very_many_digits_is_one_sentence(digits: int) -> None:
    number = "9" * digits
    run = (ROOT / "sample_runs" / "KNEE.run.csv").read_text("utf-8").replace("1031.0", number, 1)
    for read in (
        lambda: parse_run(run.encode(), "x"),
        lambda: parse_rig(f'format = "bandcurve-rig/1"\n[bar]\nmass_kg = {number}\n'.encode(), "x"),
        lambda: parse_series((head("B1", "B2").replace("1029.00", number, 1) + "1,1,3300,1650\n").encode(), "x"),
        lambda: parse_uses((new_log("B07") + f"2026-04-01T18:00:00,2026-04-01,{number},\n").encode(), "x"),
    ):
        with pytest.raises(DataError) as caught:
            read()
        assert len(str(caught.value)) < 300
