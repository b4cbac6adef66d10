"""Broken series and logs are one sentence, never a traceback: good files with pieces cut, doubled or made up."""

import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.acquire.files.run_file import parse_run
from calib.acquire.files.series_file import parse_series
from calib.errors import BandcurveError, DataError
from calib.profile.document import save_profile
from calib.profile.store.rechecks import new_rechecks, parse_rechecks
from calib.profile.store.uses import new_log, parse_uses
from calib.use.bands.series import ratio_of
from calib.use.rig.rig_file import parse_rig
from calib.verbs.app import run
from tests.use.bands.hooked import head
from tests.use.bands.made import band

ROOT = Path(__file__).parents[3]
SERIES = (head("B1", "B2") + "1,1,3300,1650\n2,1,3500,1752\n").encode()
LOG = (new_log("B07") + '00000000000a,2026-04-01T18:00:00Z,2026-04-01,60,"squats"\n').encode()
CHECKS = (
    new_rechecks("B07") + "00000000000a,2026-04-01T18:00:00Z,2026-04-01,10,0.129,1432,band-inner,12 12,18,\n"
).encode()
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
    text = (ROOT / "sample_runs" / "KNEE.run.csv").read_text("utf-8").replace("1031.0", number, 1)
    for read in (
        lambda: parse_run(text.encode(), "x"),
        lambda: parse_rig(f'format = "bandcurve-rig/1"\n[bar]\nmass_kg = {number}\n'.encode(), "x"),
        lambda: parse_series((head("B1", "B2").replace("1029.00", number, 1) + "1,1,3300,1650\n").encode(), "x"),
        lambda: parse_uses(
            (new_log("B07") + f"00000000000a,2026-04-01T18:00:00Z,2026-04-01,{number},\n").encode(), "x"
        ),
    ):
        with pytest.raises(DataError) as caught:
            read()
        assert len(str(caught.value)) < 300


@pytest.mark.parametrize(
    ("good", "parse"), [(LOG, parse_uses), (CHECKS.replace(b"18,\n", b'18,,"P3"\n'), parse_rechecks)]
)
def test_a_log_saved_on_another_system_says_the_same(
    good: bytes, parse: Callable[[bytes, str], Sequence[object]]
) -> None:
    """With its line ends, with a mark of UTF-8, with the end of the last row left out; a sign of a note ends no row."""
    assert len(parse(good, "x")) == 1
    noted = good.removesuffix(b'"\n') + 'a\u2028b\x0bc"\n'.encode()
    for other in (good.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + good, good.removesuffix(b"\n")):
        assert parse(other, "x") == parse(good, "x")
    assert len(parse(noted, "x")) == 1
    assert parse(good[:-4], "x") == []


@pytest.mark.parametrize("end", ["", "\r\n"])
def test_a_row_an_editor_left_without_its_end_is_kept_when_the_next_is_added(tmp_path: Path, end: str) -> None:
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    path = tmp_path / "B07.uses.csv"
    path.write_bytes(LOG.removesuffix(b"\n") + end.encode())
    assert run(["log", "B07", "--reps", "5", "--folder", str(tmp_path)]) == 0
    assert [use.reps for use in parse_uses(path.read_bytes(), path.name)] == [60, 5]


def test_a_row_cut_off_goes_when_the_next_is_added(tmp_path: Path) -> None:
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    path = tmp_path / "B07.uses.csv"
    path.write_bytes(LOG + b"00000000000b,2026-04-02T18:00:00Z,2026-04-0")
    assert run(["log", "B07", "--reps", "5", "--folder", str(tmp_path)]) == 0
    assert [use.reps for use in parse_uses(path.read_bytes(), path.name)] == [60, 5]


def test_what_of_a_band_cannot_be_read_is_said_beside_its_history(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A list of re-checks that says it has gone soft, damaged, does not make a band look sound."""
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    (tmp_path / "B07.rechecks.csv").write_bytes(CHECKS.replace(b",10,", b",ten,"))
    assert run(["history", "B07", "--folder", str(tmp_path), "--json"]) == 1
    said = capsys.readouterr()
    assert json.loads(said.out)["band"] == "B07"
    assert said.err.startswith("bandcurve: left out, B07.rechecks.csv:")


def test_a_damaged_profile_is_said_at_a_recheck(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    (tmp_path / "B07.2026-04-01.profile.json").write_text("{")
    run(["recheck", "B07", "--folder", str(tmp_path), "--plate", "10kg", "--length", "1500mm"])
    assert "left out, B07.2026-04-01.profile.json" in capsys.readouterr().err
