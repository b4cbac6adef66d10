"""Which proposal of `rig solve` comes first, pairs, choked bands with their slack lengths, lifters at the edge."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from calib.profile.document import save_profile
from calib.use.rig.solve import Wish, beyond, solve
from calib.use.rig.solve_place import Candidate, is_of, place_of
from calib.verbs.app import run
from tests.use.rig.made import band_text, rig, rig_text
from tests.use.rig.test_solve import PAIR, asked, bands, invented
from tests.verbs.rig.test_command import PRESS, written

Capture = pytest.CaptureFixture[str]


def test_misses_inside_u_are_ties_and_a_band_is_not_nearer_for_being_less_well_known() -> None:
    assert beyond(0.15, 4.2, 4.2) == beyond(0.42, 4.2, 4.2) == 0
    assert beyond(0.0, 10.0, 4.2) > beyond(4.2, 4.2, 4.2) == 0
    assert beyond(6.0, 4.2, 4.2) > 0


def test_of_two_pairs_whose_misses_nobody_can_tell_apart_the_more_alike_comes_first() -> None:
    """S258 with S278 misses 0.8 kg less than S258 with S259 does, and differs by 2 kg; U95 is above 4 kg."""
    wanted = Wish("top", 100.0)
    candidates = bands(240, 258, 259, 278)
    found = solve(asked(wanted, candidates=candidates, each_once=True, within=9.0, few=9, arrangements=["straight"]))
    first = found.proposals[0]
    least = min(found.proposals, key=lambda p: p.miss)
    assert {p.band.id for p in first.profiles} == {"S258", "S259"}
    assert first.apart < least.apart
    assert first.miss - least.miss < first.known_to([wanted])
    named = [tuple(sorted(p.band.id for p in one.profiles)) for one in found.proposals]
    assert len(named) == len(set(named))


def test_two_bands_that_change_sides_count_once_where_the_anchors_differ_too() -> None:
    uneven = rig(band_text(side="left"), band_text(side="right", sideways_mm=120), bottom=1300, top=1600)
    found = solve(asked(Wish("top", 80.0), made=uneven, candidates=bands(80, 81), each_once=True, within=40.0, few=9,
                       arrangements=["straight"]))  # fmt: skip
    assert len(found.proposals) == 1
    assert found.more == 0


def test_two_pairs_a_side_hang_crosswise_where_that_is_more_alike() -> None:
    four = bands(100, 104, 200, 208)
    sought = replace(asked(Wish("top", 150.0), candidates=four, within=99.0, most=2, few=9), pairs=((0, 1), (2, 3)))
    two = [p for p in solve(sought).proposals if len(p.rig.band) == 4]
    assert two
    for p in two:
        left = [q.band.id for b, q in zip(p.rig.band, p.profiles, strict=True) if b.side == "left"]
        assert sorted(left) in (["S100", "S208"], ["S104", "S200"])


def test_a_choked_rig_with_measured_slack_lengths_is_solved_with_its_own_bands() -> None:
    texts = [
        band_text("choked", side=side, slack_length_mm=mm, profile=f"{name}.profile.json")
        for side, mm, name in (("left", 740, "S80"), ("right", 744, "S81"))
    ]
    made = rig(*texts, bottom=1100, top=1400)
    assert place_of(made).mirrored
    sought = asked(Wish("top", 75.0), made=made, candidates=bands(80, 81), each_once=True, within=30.0)
    choked = [p for p in solve(sought).proposals if p.hanging.arrangement == "choked"]
    assert [[b.slack_length for b in p.rig.band] for p in choked] == [[0.74, 0.744]]


@pytest.mark.parametrize(
    ("text", "same"),
    [
        ("S80.profile.json", True),
        ("s80", True),
        ("./S80.2027-03-05.profile.json", True),
        ("old/S80.profile.json", False),
        ("S801.profile.json", False),
        ("S80.spare.profile.json", False),
    ],
)
def test_a_band_measured_anew_is_the_band_of_the_rig(text: str, same: bool) -> None:
    assert is_of(text, Candidate("S80.2028-01-01.profile.json", invented("S80", 80.0))) is same


def test_sides_two_kilos_apart_are_a_finding_however_heavy_the_bar_is() -> None:
    heavy = rig(*PAIR, bottom=1300, top=1600)
    heavy = replace(heavy, bar=replace(heavy.bar, mass=120.0))
    found = solve(asked(Wish("top", 330.0), made=heavy, candidates=bands(400, 425), each_once=True, within=200.0))
    (p,) = [one for one in found.proposals if one.hanging.arrangement == "straight"]
    assert 2.0 < p.apart < 0.03 * 200
    assert any(f.code == "sides-unequal" for f in p.answer.findings)


@pytest.fixture
def box(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    for candidate in bands(100, 101, 150, 152):
        save_profile(candidate.profile, tmp_path / candidate.name)
    press = rig_text(band_text(side="left"), band_text(side="right"), bottom=1350, top=1900)
    (tmp_path / "press.rig.toml").write_text(press.replace("B.profile.json", "S100.profile.json"), "utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_a_rig_is_asked_for_by_its_name_and_pairs_are_named_or_made(box: Path, capsys: Capture) -> None:
    names = ["S100", "S101", "S150", "S152"]
    asked_for = ["rig", "solve", "press", *names, "--top", "120", "--within", "60", "--plates", "20x2", "--json"]
    assert run(["rig", "press"]) == 0
    capsys.readouterr()
    assert run([*asked_for, "--pairs", "s100+S101"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["twins_assumed"] is False
    assert {frozenset(b["band"] for b in p["bands"]) for p in told["proposals"]} == {frozenset({"S100", "S101"})}
    assert run([*asked_for, "--each-once", "--most", "2", "--few", "9"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert max(len(p["bands"]) for p in told["proposals"]) == 4
    for pairs, said in (("S100", "is not two bands"), ("S100+S999", "not among the bands")):
        assert run([*asked_for, "--pairs", pairs]) == 2
        assert said in capsys.readouterr().err


def test_one_end_outside_the_tested_lengths_leaves_the_rest_of_a_lifter(tmp_path: Path, capsys: Capture) -> None:
    save_profile(invented("B07"), tmp_path / "B.profile.json")
    press, figure = written(tmp_path, PRESS), tmp_path / "who.svg"
    assert run(["rig", press, "--lifters", "Far $x$ 1.5m 2.6m, Ana 1.25m 1.7m", "--figure", str(figure)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Far $x$: the top is not known: " in said
    assert "lifter-0" in figure.read_text("utf-8")
    assert run(["rig", press, "--lifters", "Far 1.5m 2.6m, Ana 1.25m 1.7m", "--json"]) == 0
    far, ana = json.loads(capsys.readouterr().out)["lifters"]
    assert far["rig"]["heights_m"][0] == 1.5
    assert far["rig"]["heights_m"][-1] < 2.6
    assert len(far["rig"]["up"]["bar_load_kg"]) == len(far["rig"]["heights_m"]) < len(ana["rig"]["heights_m"])
    assert len(far["rig"]["up"]["bands"][0]["tension_N"]) == len(far["rig"]["heights_m"])
