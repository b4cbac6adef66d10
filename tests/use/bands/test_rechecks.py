"""Re-checks that are kept: read back, counted once, judged by the profile of their day, and the next look with them."""

import json
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import DataError
from calib.profile.document import save_profile
from calib.profile.store.collection import read_collection
from calib.profile.store.newest_profile import in_force
from calib.profile.store.rechecks import Hung, Recheck, new_rechecks, noted_once, parse_rechecks, row_of
from calib.profile.store.uses import Use
from calib.stamp import Stamp, derived_id, instant
from calib.use.bands.history import history
from calib.use.bands.recheck import expect
from calib.use.bands.recheck import recheck as judged
from calib.verbs.app import run
from tests.use.bands.made import band

Capture = pytest.CaptureFixture[str]
FIRST = date(2026, 3, 1)  # when the invented band was measured
HUNG = Hung(10.0, 0.0129, "band-inner", (0.012, 0.012), 21.0)
THERE = expect(band("B07"), HUNG).length
STAMP = Stamp("00000000000a", instant("2026-06-01T16:00:00Z"))
HEAD = new_rechecks("B07")
ROW = "00000000000a,2026-06-01T16:00:00Z,2026-06-01,10,0.129,1432,band-inner,12 12,18,2026-03-01,\n"


def check(days: int, length: float = THERE, at: str = "18:00:00", name: str = "B07") -> Recheck:
    on = FIRST + timedelta(days)
    return Recheck(name, on, HUNG, length, stamp=Stamp(derived_id(name, f"{on}{at}{length}"), instant(f"{on}T{at}Z")))


@given(
    st.floats(0.5, 300),
    st.floats(0.1, 9),
    st.sampled_from(["band-outer", "band-inner", "centres", "half-path"]),
    st.sampled_from([(), (0.012,), (0.012, 0.028)]),
    st.sampled_from([None, -5.0, 18.5]),
    st.sampled_from(["", 'old "P3" plate, by the door']),
)
def test_what_was_written_is_read_back(
    mass: float, length: float, kind: str, fittings: tuple[float, ...], warm: float | None, note: str
) -> None:
    hung = Hung(float(f"{mass:.7g}"), 0.129, kind, fittings, warm)  # type: ignore[arg-type]
    against = FIRST if fittings else None
    recheck = Recheck("B07", date(2026, 6, 1), hung, float(f"{length:.7g}"), against, note, STAMP)
    (found,) = parse_rechecks((HEAD + row_of(recheck)).encode(), "x")
    assert found.hung.fittings == pytest.approx(fittings)
    assert found.length == pytest.approx(recheck.length)
    assert replace(found, length=recheck.length, hung=replace(found.hung, fittings=fittings)) == recheck


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (",10,", ",heavy,", "x:4: mass_kg is 'heavy'; give a number from 0.001 to 1000"),
        (",1432,", ",nan,", "x:4: length_mm is 'nan'"),
        (",1432,", ",,", "x:4: length_mm is ''"),
        ("band-inner", "inner", "x:4: length_kind is 'inner'; use one of band-outer"),
        ("12 12", "12 12 12", "x:4: fitting_diameters_mm is '12 12 12'; give two"),
        (",18,", ",1800,", "x:4: temperature_C is '1800'"),
        (",2026-06-01,", ",1 June,", "x:4: a day is not written"),
        (",2026-03-01,\n", ",then,\n", "x:4: calibrated_on is 'then'; write a day"),
        (",18,2026-03-01,\n", "\n", "x:4: has 8 cells, not 11"),
        (",18,", f",18,{'x' * 140_000}", "x:4: has 0 cells"),
        ("-rechecks/2", "-rechecks/3", "newer than this program reads"),
        ("-rechecks/2", "-uses/2", "is not a list of re-checks"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_sentence(old: str, new: str, said: str) -> None:
    with pytest.raises(DataError) as caught:
        parse_rechecks((HEAD + ROW).replace(old, new, 1).encode(), "x")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_row_that_was_cut_off_is_passed_over_and_one_that_came_twice_counts_once() -> None:
    found = parse_rechecks((HEAD + ROW + ROW + ROW[:30]).encode(), "x")
    assert len(found) == 2
    assert len(noted_once(found)) == 1


def test_a_recheck_that_passed_puts_the_next_look_off_and_counts_repetitions_anew() -> None:
    """Six months from the last look, where no drift is known; 5 % in six months is what is looked for."""
    uses = [Use("B07", FIRST + timedelta(50), 300), Use("B07", FIRST + timedelta(110), 40)]
    without, found = history([band("B07")], uses), history([band("B07")], uses, rechecks=[check(100)])
    assert without.look_again == FIRST + timedelta(182)
    assert found.look_again == FIRST + timedelta(282)
    assert (without.reps_since, found.reps_since, found.reps_left) == (340, 40, 960)
    (plate,) = found.plates
    assert plate.passed
    assert plate.level_ratio == pytest.approx(1.0)
    assert plate.reps == 300


def test_a_recheck_that_did_not_pass_is_due_at_once_until_it_passes_or_the_band_is_measured() -> None:
    soft = check(100, THERE * 1.08)
    failed = history([band("B07")], [], rechecks=[check(90), soft])
    assert failed.plates[-1].passed is False
    assert failed.failed == failed.look_again == soft.on
    read_again = history([band("B07")], [], rechecks=[soft, check(100, at="18:05:00")])
    assert read_again.failed is None
    measured = history([band("B07"), band("B07", 0.9, made=day(120))], [], rechecks=[soft])
    assert measured.failed is None
    assert measured.look_again is not None
    assert measured.look_again > FIRST + timedelta(120 + 29)


def test_a_recheck_that_failed_stays_failed_beside_the_calibration_it_led_to_on_the_same_day() -> None:
    """Judged by the new curve it would pass; then the reason for measuring anew would be gone from the history."""
    new = band("B07", 0.9, made=day(120))
    failed = replace(check(120, expect(new, HUNG).length), calibrated=FIRST)
    later = Stamp("00000000000a", instant(f"{failed.on}T20:00:00Z"))
    passed = replace(failed, stamp=later, calibrated=failed.on)
    found = history([band("B07"), new], [], rechecks=[failed, passed])
    assert [p.passed for p in found.plates] == [False, True]
    assert history([band("B07"), new], [], rechecks=[failed]).failed is None


def day(days: int) -> dict[str, str]:
    return {"measured_at": (FIRST + timedelta(days)).isoformat()}


def test_a_recheck_is_judged_by_the_profile_of_its_day_and_shown_beside_the_first() -> None:
    """A band measured again at 0.9: a plate at the length of the new curve is 0.9 of the first level, and passes."""
    new = band("B07", 0.9, made=day(120))
    found = history([band("B07"), new], [], rechecks=[check(150, expect(new, HUNG).length)])
    (plate,) = found.plates
    assert plate.passed
    assert plate.level_ratio == pytest.approx(0.9, rel=1e-4)
    assert plate.u_level_ratio is not None
    assert plate.u_level_ratio > 0.01  # a day by itself is 1 %
    assert in_force([band("B07"), new], FIRST + timedelta(119)).made.measured_at == FIRST.isoformat()
    with pytest.raises(DataError, match="B07 was first measured on 2026-03-01, after 2026-02-01"):
        in_force([band("B07"), new], date(2026, 2, 1))


def test_a_recheck_that_the_profile_does_not_reach_to_is_shown_and_says_nothing() -> None:
    found = history([band("B07")], [], rechecks=[check(100, 3.0)])
    assert found.plates[0].passed is None
    assert found.look_again == FIRST + timedelta(182)


def test_two_days_in_one_week_do_not_call_for_another_look_in_a_month() -> None:
    found = history([band("B07"), band("B07", 1.01, made=day(3))], [])
    assert found.per_month is not None
    assert found.per_month.u > 0.05
    assert found.look_again == FIRST + timedelta(3 + 182)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    save_profile(band("B07"), tmp_path / "B07.profile.json")
    return tmp_path


def recheck(store: Path, length: float, on: str, *more: str) -> int:
    asked = ["--plate", "10kg", "--load", "calibrated", "--length", f"{length:.4f}m", "--temperature", "21", "--on", on]
    return run(["recheck", "B07", *asked, "--folder", str(store), *more])


def test_rechecks_over_the_months_are_kept_and_seen_in_history_and_list(store: Path, capsys: Capture) -> None:
    assert recheck(store, THERE, "2026-05-01", "--note", "by the door") == 0
    assert "PASS: B07 pulls 0.0 +- 4.9 % " in capsys.readouterr().out
    assert recheck(store, 1.1 * THERE, "2026-08-01", "--json") == 0
    document = json.loads(capsys.readouterr().out)
    assert (document["passed"], document["on"]) == (False, "2026-08-01")
    assert Path(document["file"]) == store / "B07.rechecks.csv"
    assert run(["history", "B07", "--folder", str(store), "--json"]) == 0
    past = json.loads(capsys.readouterr().out)
    assert [(r["day"], r["passed"]) for r in past["rechecks"]] == [("2026-05-01", True), ("2026-08-01", False)]
    assert past["failed_recheck"] == past["look_again"] == "2026-08-01"
    assert past["rechecks"][1]["level"]["level_ratio"] == pytest.approx(document["level"]["level_ratio"], rel=1e-3)
    assert run(["history", "B07", "--folder", str(store)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "2026-05-01 plate, pass 100.0 %" in said
    assert "2026-08-01 plate, NOT PASSED" in said
    assert "did not pass the re-check of 2026-08-01. Measure it in full" in said
    assert run(["list", str(store)]) == 0
    assert "2026-08-01 failed" in capsys.readouterr().out
    assert run(["list", str(store), "--json"]) == 0
    (listed,) = json.loads(capsys.readouterr().out)["bands"]
    assert (listed["rechecked"], listed["recheck_passed"], listed["due"]) == ("2026-08-01", False, True)


def test_two_peoples_rechecks_merge_by_copying(store: Path) -> None:
    other = store / "from her"
    other.mkdir()
    mine, hers = row_of(check(100)), row_of(check(130))
    (store / "B07.rechecks.csv").write_text(HEAD + mine, "utf-8")
    (other / "B07.rechecks.csv").write_text(HEAD + mine + hers, "utf-8")
    assert [r.on for r in read_collection(store).band("B07").rechecks] == [check(100).on, check(130).on]


def test_mistakes_are_one_sentence_and_keep_nothing(store: Path, capsys: Capture) -> None:
    for length, on, more, status, words in (
        (THERE, "2025-01-01", (), 1, "first measured on 2026-03-01"),
        (THERE, "2999-01-01", (), 2, "still to come"),
        (THERE, "May", (), 2, "is not a day"),
        (3.0, "2026-05-01", (), 1, "outside"),
        (THERE, "2026-05-01", ("--plate", "200kg"), 1, "hang one between"),
    ):
        assert recheck(store, length, on, *more) == status
        said = capsys.readouterr()
        assert said.err.count("\n") == 1
        assert words in said.err
    bare = band("B08", gear={"fitting_diameters_m": []})
    save_profile(bare, store / "B08.profile.json")
    assert run(["recheck", "B08", "--plate", "10kg", "--length", "1.4m", "--folder", str(store)]) == 2
    assert "--fittings 12,12" in capsys.readouterr().err
    assert not list(store.glob("*.csv"))


def test_a_file_of_another_band_under_this_name_is_not_written_to(store: Path, capsys: Capture) -> None:
    (store / "B07.rechecks.csv").write_text(new_rechecks("B09") + ROW, "utf-8")
    assert recheck(store, THERE, "2026-05-01") == 1
    assert "is of B09; restore its name" in capsys.readouterr().err


def test_the_answer_is_said_even_where_it_cannot_be_kept(store: Path, capsys: Capture) -> None:
    (store / "B07.rechecks.csv").mkdir()
    assert recheck(store, THERE, "2026-05-01") == 1
    said = capsys.readouterr()
    assert said.out.startswith("PASS: B07 pulls ")
    assert said.err.count("\n") == 1
    assert "B07.rechecks.csv" in said.err


def test_a_warm_room_is_taken_out_of_where_a_plate_hangs() -> None:
    """10 K at 0.25 % a kelvin (the profile's coefficient): the band hangs where it would with 2.5 % less."""
    plate = Hung(10.0, 0.01, "half-path", (), 21.0)
    warm, lighter = replace(plate, temperature=31.0), replace(plate, mass=10.0 / 1.025)
    assert expect(band("B07"), warm).length == pytest.approx(expect(band("B07"), lighter).length, rel=1e-9)


def test_a_plate_less_well_known_makes_the_look_less_sharp() -> None:
    """What it adds in quadrature is its own relative uncertainty."""
    known, rough = Hung(10.0, 0.0, "half-path", (), 21.0), Hung(10.0, 0.3, "half-path", (), 21.0)
    read = expect(band("B07"), known).length
    sharp, dull = (judged(band("B07"), hung, read) for hung in (known, rough))
    assert dull.u_level_ratio**2 - sharp.u_level_ratio**2 == pytest.approx((0.03 * sharp.level_ratio) ** 2, rel=1e-6)
