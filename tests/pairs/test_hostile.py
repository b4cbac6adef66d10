"""Broken series and logs are one sentence, never a traceback: good files with pieces cut, doubled, or made of anything."""

from contextlib import suppress

from hypothesis import given, settings
from hypothesis import strategies as st

from calib.acquire.series_file import parse_series
from calib.errors import BandcurveError
from calib.profile.uses import new_log, parse_uses
from calib.use.series import ratio_of
from tests.pairs.hooked import head

SERIES = (head("B1", "B2") + "1,1,3300,1650\n2,1,3500,1752\n").encode()
LOG = (new_log("B07") + '2026-04-01T18:00:00+00:00,2026-04-01,60,"squats"\n').encode()
PIECES = st.one_of(
    st.binary(max_size=12),
    st.sampled_from([b"nan", b"1e999", b"-0", b"[first]", b'"', b",,,,", b"\n# ", b"9" * 400, b"=", b"[[second]]"]),
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
