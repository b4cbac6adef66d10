"""`bandcurve scale` and its table, as a user meets them."""

import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.acquire.files.check_table import parse_check_table, read_pair
from calib.errors import BandcurveError
from calib.fit.gear.known_loads import set_from
from calib.plate_set import save_plates
from calib.scale import load_scale
from calib.units import G_STANDARD as G
from calib.verbs.app import run

INVALID = sorted((Path(__file__).parent / "invalid").glob("*.csv"))
TABLE = """known_kg,shown_kg,branch
0,0.00,up
10,10.10,up
20,20.15,up
40,40.30,up
40,40.30,down
20,20.15,down
10,10.05,down
0,0.00,down
"""


@pytest.fixture
def hook(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    assert run(["scale", "new", "hook", "--resolution", "0.05kg", "--capacity", "50kg", "--out", str(tmp_path)]) == 0
    capsys.readouterr()
    return tmp_path / "hook.scale.json"


def typed(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))


def test_a_table_becomes_a_check_in_words(hook: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plates.csv").write_text(TABLE)
    arguments = ["scale", "check", str(hook), "--from", str(tmp_path / "plates.csv"), "--loads-kind", "weighed"]
    assert run([*arguments, "--date", "2026-03-01"]) == 0
    out = capsys.readouterr().out
    assert "reads 0.74 % high at 20 kg (+- 0.0" in out
    assert f"bandcurve fit RUN --scale {hook}" in out
    scale = load_scale(hook).in_use()
    assert scale.check == "hook/2026-03-01"
    assert scale.correction is not None
    assert scale.correction.force(20.15 * G) == pytest.approx(20 * G, rel=1e-3)
    assert run([*arguments, "--date", "2026-03-01"]) == 0
    assert [c.id for c in load_scale(hook).checks] == ["2026-03-01", "2026-03-01-2"]


def test_a_set_of_plates_checks_a_scale_piece_by_piece(
    hook: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plates, table = tmp_path / "mine.plates.json", tmp_path / "hung.csv"
    save_plates(set_from("2 x 10, 20=20.04", "plates-7", "ann"), plates)
    table.write_text(TABLE)
    arguments = ["scale", "check", str(hook), "--from", str(table), "--loads", str(plates)]
    assert run(arguments) == 0
    check = load_scale(hook).checks[-1]
    assert check.correction.known_loads == "plates-7"
    assert check.correction.pieces == ("10a", "10b", "20a")
    assert [load.id for load in check.known_loads.loads] == ["10a", "10b", "20a"]
    assert {r.mass_kg for r in check.readings} == {0.0, 10.0, 20.04, 40.04}
    used = load_scale(hook).in_use().correction
    assert used is not None
    assert used.factor_pieces == check.correction.factor_pieces
    capsys.readouterr()
    table.write_text(TABLE.replace("20,20.15,up", "25,20.15,up"))
    assert run(arguments) == 1
    assert "line 4: these plates do not make 25 kg; they make 20 kg and 30 kg" in capsys.readouterr().err
    assert run([*arguments, "--u-each", "5g"]) == 2
    assert len(load_scale(hook).checks) == 1


def test_ten_kilos_up_and_their_pounds_down_are_one_load(
    hook: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """10 kg are 22.0462 lb (NIST SP 811: 1 lb = 0.45359237 kg)."""
    (tmp_path / "plates.csv").write_text("known_kg,shown_kg,branch\n0,-0.0004,up\n10,10.1,up\n9.999988,10.15,down\n")
    assert run(["scale", "check", str(hook), "--from", str(tmp_path / "plates.csv")]) == 0
    out = capsys.readouterr().out
    assert "2 different loads" in out
    assert "on the way up only" not in out
    assert "-0.000 " not in out


def test_the_same_readings_typed_give_the_same_correction(
    hook: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plates.csv").write_text(TABLE)
    fixed = ["scale", "check", str(hook), "--loads-kind", "weighed", "--json"]
    assert run([*fixed, "--from", str(tmp_path / "plates.csv")]) == 0
    one = json.loads(capsys.readouterr().out)
    lines = [" ".join(line.split(",")[:2]) for line in TABLE.splitlines()[1:]]
    rubbish = ["foo", "20", "20 2,015", "\x1b[2J", "9" * 3000, "\u0661\u0660 10", "20 -20", "n", "30 30", "undo"]
    typed("\n".join([*lines[:2], *rubbish, *lines[2:], ""]) + "\n", monkeypatch)
    assert run(fixed) == 0
    two = json.loads(capsys.readouterr().out)
    assert two["coefficients"] == one["coefficients"]
    assert two["covariance"] == one["covariance"]


def test_a_slip_is_questioned_and_named(
    hook: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed("0 0\n10 101\nn\n10 22.1\nn\n10 10.1\n20 20.2\n\n", monkeypatch)
    assert run(["scale", "check", str(hook), "--loads-kind", "weighed"]) == 0
    said = capsys.readouterr().err
    assert "a decimal point?" in said
    assert "is it set to lb?" in said
    assert [r.shown_N for r in load_scale(hook).checks[0].readings] == pytest.approx([0.0, 10.1 * G, 20.2 * G])


@pytest.mark.parametrize("table", INVALID, ids=lambda p: p.stem)
def test_bad_tables_get_one_sentence_and_change_nothing(
    table: Path, hook: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = hook.read_bytes()
    assert run(["scale", "check", str(hook), "--from", str(table)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("bandcurve: ")
    assert len(err.splitlines()) == 1
    assert hook.read_bytes() == before


@pytest.mark.parametrize(
    ("name", "where"), [("shown_is_text", ":3:"), ("unknown_unit", ":1:"), ("branch_is_neither", ":3:")]
)
def test_a_bad_cell_is_named_by_file_and_line(
    name: str, where: str, hook: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table = Path(__file__).parent / "invalid" / f"{name}.csv"
    assert run(["scale", "check", str(hook), "--from", str(table)]) == 1
    assert f"{name}.csv{where}" in capsys.readouterr().err


@pytest.mark.parametrize(
    "options",
    [
        ["--loads-kind", "feathers"],
        ["--date", "1st of May"],
        ["--date", "2999-01-01"],
        ["--u-common", "5g"],
        ["--u-each", "lots"],
        ["--unit", "stone"],
    ],
)
def test_bad_options_are_wrong_usage(
    options: list[str], hook: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plates.csv").write_text(TABLE)
    assert run(["scale", "check", str(hook), "--from", str(tmp_path / "plates.csv"), *options]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["new", "con", "--resolution", "0.05kg"], 1),
        (["new", "../up", "--resolution", "0.05kg"], 1),
        (["new", "hook", "--resolution", "0.05"], 2),
        (["new", "hook", "--resolution", "0.05kg", "--capacity", "0.01kg"], 1),
        (["new", "hook", "--resolution", "0.05kg", "--locks", "maybe"], 2),
        (["show", "nowhere.scale.json"], 1),
        (["check", "nowhere.scale.json", "--from", "nowhere.csv"], 1),
    ],
)
def test_bad_scales_get_one_sentence(
    arguments: list[str],
    status: int,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["scale", *arguments]) == status
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_an_existing_scale_is_not_overwritten(hook: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = hook.read_bytes()
    assert run(["scale", "new", "hook", "--resolution", "0.1kg", "--out", str(hook.parent)]) == 1
    assert "not overwritten" in capsys.readouterr().err
    assert hook.read_bytes() == before


def test_what_was_typed_before_a_break_is_on_disk_and_can_be_taken_up(
    hook: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    typed("0 0\n10 10.1\n", monkeypatch)  # end of input after two lines
    assert run(["scale", "check", str(hook), "--loads-kind", "weighed"]) == 1
    draft = hook.parent / "hook.check.csv"
    assert draft.read_text().splitlines()[1:] == ["0,0.0,loading", f"10.0,{10.1 * G!r},loading"]
    assert load_scale(hook).checks == ()
    draft.write_text(draft.read_text() + f"20,{20.2 * G},up\n")
    assert run(["scale", "check", str(hook), "--loads-kind", "weighed", "--from", str(draft)]) == 0
    typed("0 0\n10 10.1\n20 20.2\n\n", monkeypatch)
    assert run(["scale", "check", str(hook), "--loads-kind", "weighed"]) == 0
    assert sorted(p.name for p in hook.parent.iterdir()) == ["hook.check.csv", "hook.scale.json"]  # the draft is gone
    capsys.readouterr()


def test_water_hangs_as_mass(hook: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "water.csv").write_text(
        "known_l,shown_kg,branch\n0,0,up\n5,5.00,up\n10,10.00,up\n5,5.00,down\n0,0,down\n"
    )
    arguments = ["scale", "check", str(hook), "--from", str(tmp_path / "water.csv"), "--temperature", "20", "--json"]
    assert run(arguments) == 0
    said = json.loads(capsys.readouterr().out)
    # 10 l at 20 C: 9.98207 kg (Tanaka 2001), 9.9716 kg of iron pull as much in air of 1.2 kg/m3
    assert said["max_N"] == pytest.approx(9.9716 * G, rel=1e-4)


@given(st.text(max_size=80))
def test_any_typed_line_is_a_pair_or_a_sentence(text: str) -> None:
    try:
        pieces, shown = read_pair(text, "kg", "kg")
    except BandcurveError as error:
        assert str(error)
    else:
        assert all(p > 0 for p in pieces)
        assert abs(shown) < 1e300


@given(st.binary(max_size=300))
def test_any_bytes_are_a_table_or_a_sentence(data: bytes) -> None:
    try:
        table = parse_check_table(data, "x.csv")
    except BandcurveError as error:
        assert str(error).startswith("x.csv")
    else:
        assert table.rows


def test_spreadsheets_save_semicolons_and_decimal_commas() -> None:
    table = parse_check_table("\ufeffknown_lb;shown_kg;branch\r\n45;20,40;UP\r\n".encode(), "x.csv")
    assert table.rows[0].pieces == pytest.approx((45 * 0.45359237,))
    assert table.rows[0].shown == pytest.approx(20.4 * G)
