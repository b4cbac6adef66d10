"""The profile as a file: what is written is read back, what is wrong is refused in one sentence."""

import copy
import json
import os
import resource
import stat
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calib.errors import BandcurveError, DataError, FileError
from calib.profile.document import CAP_BYTES, Profile, load_profile, parse_profile, save_profile
from calib.profile.exports import curve_csv
from calib.safe_write import write_atomically, write_new
from tests.profile.invented import document

STORED = Path(__file__).parents[1] / "data" / "profiles"


def _parsed(content: dict[str, Any]) -> Profile:
    return parse_profile(json.dumps(content).encode(), "B07.profile.json")


def _refusal(content: dict[str, Any] | bytes) -> str:
    data = content if isinstance(content, bytes) else json.dumps(content).encode()
    with pytest.raises(BandcurveError) as refused:
        parse_profile(data, "B07.profile.json")
    sentence = str(refused.value)
    assert sentence.startswith("B07.profile.json")
    assert "\n" not in sentence and sentence.isascii() and len(sentence) < 400
    return sentence


@pytest.mark.parametrize("file", sorted(STORED.glob("*.json")), ids=lambda p: p.name)
def test_every_released_format_is_read_for_ever(file: Path) -> None:
    assert load_profile(file).to_json() == file.read_text("utf-8")


def test_the_same_content_gives_the_same_bytes() -> None:
    shuffled = dict(reversed(document().items()))
    assert _parsed(shuffled).to_json() == Profile.model_validate(document()).to_json()


def test_keys_stand_in_the_order_of_the_schema() -> None:
    written = json.loads(_parsed(dict(reversed(document().items()))).to_json())
    assert list(written)[:6] == ["format", "band", "made", "gear", "conditions", "length"]
    assert list(written["branches"]["loading"]) == ["length_m", "force_N", "u_N", "u95_N"]


def test_null_where_unloading_was_not_measured() -> None:
    written = json.loads(_parsed(document(unloading=False)).to_json())
    assert written["branches"]["unloading"] is None
    assert written["rest_N"]["unloading"] is None
    assert {f["unloading_N"] for f in written["factors"]} == {None}
    with pytest.raises(DataError, match="unloading branch was not measured"):
        _parsed(document(unloading=False)).force(1.6, "unloading")


finite = st.floats(-1e6, 1e6)


@st.composite
def documents(draw: st.DrawFn) -> dict[str, Any]:
    """Valid profiles with any numbers and texts in them."""
    content = document(points=draw(st.integers(2, 12)), unloading=draw(st.booleans()), strength=draw(st.floats(1, 1e3)))
    content["band"]["note"] = draw(st.text(max_size=30))
    content["band"]["mass_kg"] = draw(st.floats(1e-3, 5))
    content["gear"]["scale"] = draw(st.none() | st.text(max_size=10))
    content["conditions"]["temperature_C"] = draw(st.none() | st.floats(-59, 99))
    content["model"]["coefficients"] = draw(st.dictionaries(st.text(max_size=5), finite | st.lists(finite), max_size=4))
    content["extensions"] = {"app": draw(st.recursive(finite | st.text() | st.none(), st.lists, max_leaves=5))}
    content["hysteresis"] = draw(
        st.none()
        | st.fixed_dictionaries(
            {"from_m": st.floats(0.1, 1), "to_m": st.floats(1, 3), "energy_in_J": finite, "energy_lost_J": finite,
             "loss_ratio": st.floats(-1, 1), "u_loss_ratio": st.floats(0, 1), "set_m": st.none() | st.floats(-1, 1)}
        )
    )  # fmt: skip
    return content


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(documents())
def test_what_is_written_is_read_back_to_seven_digits(content: dict[str, Any]) -> None:
    once = _parsed(content)
    again = parse_profile(once.to_json().encode(), "again")
    assert again.to_json() == once.to_json()
    assert again.band.note == once.band.note
    assert again.extensions.keys() == once.extensions.keys()
    assert again.branches.loading.force_N == pytest.approx(once.branches.loading.force_N, rel=1e-6)


def _with(path: str, value: Any) -> dict[str, Any]:
    content = copy.deepcopy(document())
    here: Any = content
    *way, last = path.split(".")
    for part in way:
        here = here[int(part)] if part.isdigit() else here[part]
    here[last] = value
    return content


def test_a_byte_order_mark_is_taken() -> None:
    assert parse_profile(b"\xef\xbb\xbf" + json.dumps(document()).encode(), "x").band.id == "B07"


def test_a_newer_minor_version_is_read_and_what_is_new_is_kept() -> None:
    content = _with("branches.loading.mood", [1, 2]) | {"format": "bandcurve-profile/1.2", "new_part": {"a": 1.5}}
    written = json.loads(_parsed(content).to_json())
    assert written["format"] == "bandcurve-profile/1.2"
    assert written["new_part"] == {"a": 1.5}
    assert written["branches"]["loading"]["mood"] == [1, 2]


def test_a_newer_major_version_is_refused() -> None:
    sentence = _refusal(document() | {"format": "bandcurve-profile/2", "unknown": 1})
    assert "version 2, newer than this program reads (1)" in sentence
    assert "install a newer bandcurve" in sentence


@pytest.mark.parametrize(
    "text", [None, 3, "bandcurve-run/1", "bandcurve-profile/0", "bandcurve-profile/one", "x" * 9999]
)
def test_another_format_is_refused(text: Any) -> None:
    assert "format" in _refusal(document() | {"format": text})


def test_an_unknown_field_is_refused_with_the_nearest_name() -> None:
    content = document()
    content["band"]["u_flat_lenght_m"] = content["band"].pop("u_flat_length_m")
    sentence = _refusal(content)
    assert "band.u_flat_lenght_m: unknown field" in sentence
    assert "did you mean 'u_flat_length_m'?" in sentence
    assert "did you mean 'loading_N'?" in _refusal(_with("factors.1.loadng_N", [1]))
    assert "did you mean 'from'?" in _refusal(_with("made.form", [1]))
    assert "extensions" in _refusal(document() | {"qqqqqqq": 1})


@pytest.mark.parametrize(
    ("path", "value", "said"),
    [
        ("band.id", "../../etc/passwd", "cannot be a name"),
        ("band.id", "a/b", "cannot be a name"),
        ("band.id", "C:\\x", "cannot be a name"),
        ("band.id", "NUL", "name of a device"),
        ("band.id", "com1.x", "name of a device"),
        ("band.id", "", "cannot be a name"),
        ("band.id", "\x1b[2J", "cannot be a name"),
        ("band.flat_length_m", "1.029", "valid number"),
        ("band.flat_length_m", True, "valid number"),
        ("band.flat_length_m", -1, "greater than or equal to 0.001"),
        ("band.strands", 3, "1 or 2"),
        ("made.measured_at", "2026-13-01", "match"),
        ("length.kind", "centres", "half-path"),
        ("branches.loading", None, "valid dictionary"),
        ("branches.loading.force_N", [1.0], "1 values for 61 lengths"),
        ("branches.loading.u95_N", [1e-9] * 61, "u95_N is below u_N"),
        ("branches.loading.u_N", [9.0] * 61, "u95_N is below u_N"),
        ("branches.loading.length_m", [1.0] * 61, "rise"),
        ("rest_N.loading", [5.0] * 61, "root sum of squares"),
        ("rest_N.unloading", None, "both be there or both be null"),
        ("factors.0.loading_N", [0.0], "1 values for 61 lengths"),
        ("findings.0.code", "made-up", "unknown finding code"),
        ("conditions.cycles", 0, "greater than or equal to 1"),
    ],
)
def test_a_wrong_value_is_named_with_its_place(path: str, value: Any, said: str) -> None:
    sentence = _refusal(_with(path, value))
    assert said in sentence
    if not path.startswith(("branches", "rest_N", "factors", "findings")):
        assert f": {path}: " in sentence


def test_branches_on_different_grids_are_refused() -> None:
    lengths = list(document()["branches"]["unloading"]["length_m"])
    lengths[10] += 1e-4
    assert "same lengths where they overlap" in _refusal(_with("branches.unloading.length_m", lengths))


def test_more_factors_than_sixteen_are_refused() -> None:
    assert "factors" in _refusal(_with("factors", document()["factors"] * 5))


def test_a_missing_field_is_named() -> None:
    content = document()
    del content["gear"]["tape"]
    assert ": gear.tape: is missing" in _refusal(content)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"{", "not JSON"),
        (b'{"format": "bandcurve-profile/1", "format": "bandcurve-profile/1"}', "'format' appears twice"),
        (b'{"format": "bandcurve-profile/1", "band": {"id": "a", "id": "b"}}', "'id' appears twice"),
        (b'{"format": NaN}', "NaN is not a number"),
        (b'{"format": -Infinity}', "-Infinity is not a number"),
        (b'{"format": 1e999}', "too large"),
        (b'{"format": ' + b"1" * 5000 + b"}", "too many digits"),
        (b'{"a": ' + b"[" * 40 + b"]" * 40 + b"}", "nested deeper"),
        (b'{"a": ' * 100_000 + b"1" + b"}" * 100_000, "nested deeper"),
        (b"[" * 100_000, "nested deeper"),
        (b"[1, 2]", "no JSON object"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\xff", "not a text file"),
        (bytes(range(256)), "not a text file"),
        ('{"format": "bandcurve-profile/1"}'.encode("utf-16"), "saved as UTF-16"),
        (b" " * (CAP_BYTES + 1), "larger than 4 MB"),
    ],
)
def test_what_is_no_strict_json_is_refused(data: bytes, said: str) -> None:
    assert said in _refusal(data)


@settings(max_examples=300)
@given(st.binary(max_size=200))
def test_any_bytes_give_one_sentence(data: bytes) -> None:
    with pytest.raises(BandcurveError):
        parse_profile(data, "x")


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_damaged_profile_is_read_or_refused_but_never_breaks(data: st.DataObject) -> None:
    text = bytearray(json.dumps(document(points=3)).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    try:
        found = parse_profile(bytes(text), "x")
    except BandcurveError as error:
        assert "\n" not in str(error)
    else:
        assert json.loads(found.to_json())["length"] == {"kind": "half-path"}


def test_a_folder_and_a_missing_file_are_refused(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="is a folder"):
        load_profile(tmp_path)
    with pytest.raises(FileError, match="no such file"):
        load_profile(tmp_path / "B07.profile.json")
    with pytest.raises(FileError, match="not a folder"):
        load_profile(STORED / "invented-1.0.profile.json" / "x")


def test_a_file_of_200_mb_is_refused_without_reading_it(tmp_path: Path) -> None:
    large = tmp_path / "large.profile.json"
    with large.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(FileError, match="larger than 4 MB"):
        load_profile(large)


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is denied to root")
def test_permission_denied_is_said(tmp_path: Path) -> None:
    path = tmp_path / "B07.profile.json"
    save_profile(_parsed(document()), path)
    path.chmod(0)
    with pytest.raises(FileError, match="permission denied"):
        load_profile(path)
    tmp_path.chmod(0o500)
    with pytest.raises(FileError, match="cannot be written: permission denied"):
        save_profile(_parsed(document()), path)
    tmp_path.chmod(0o700)


_WITHOUT_RIGHTS = """
import os, sys
from calib.errors import FileError
from calib.profile.document import load_profile, parse_profile, save_profile
profile = parse_profile(sys.stdin.buffer.read(), "x")
os.setgid(65534)
os.setuid(65534)
for attempt in (lambda: load_profile(sys.argv[1]), lambda: save_profile(profile, sys.argv[1])):
    try:
        attempt()
    except FileError as error:
        print(error)
"""


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can put rights down")
def test_permission_denied_is_said_to_a_user_without_rights() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "B07.profile.json"
        save_profile(_parsed(document()), path)
        path.chmod(0o600)
        Path(folder).chmod(0o755)
        done = subprocess.run(
            [sys.executable, "-c", _WITHOUT_RIGHTS, str(path)],
            input=json.dumps(document()).encode(), capture_output=True, cwd=STORED.parents[2], check=True,
        )  # fmt: skip
        lines = done.stdout.decode().splitlines()
        assert len(lines) == 2, done.stderr
        assert "cannot be read: permission denied" in lines[0]
        assert "cannot be written: permission denied" in lines[1]
        assert load_profile(path).band.id == "B07"


_SMALL_LIMIT = """
import resource, signal, sys
from pathlib import Path
from calib.errors import FileError
from calib.profile.document import parse_profile, save_profile
profile = parse_profile(sys.stdin.buffer.read(), "x")
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (4000, 4000))
try:
    save_profile(profile, sys.argv[1])
except FileError as error:
    print(error)
"""


def test_no_room_while_writing_leaves_the_old_file_whole(tmp_path: Path) -> None:
    path = tmp_path / "B07.profile.json"
    save_profile(_parsed(document(points=9)), path)
    old = path.read_bytes()
    done = subprocess.run(
        [sys.executable, "-c", _SMALL_LIMIT, str(path)],
        input=json.dumps(document(strength=77.0)).encode(), capture_output=True, cwd=STORED.parents[2], check=True,
    )  # fmt: skip
    assert b"cannot be written: the file grows larger" in done.stdout, done.stderr
    assert b"make room" in done.stdout
    assert path.read_bytes() == old
    assert [p.name for p in tmp_path.iterdir()] == [path.name]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 4000


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full on this system")
def test_a_full_disk_is_said() -> None:
    with pytest.raises(FileError, match="the disk is full; make room"):
        write_atomically(Path("/dev/full"), "x" * 100_000)


def test_writing_keeps_permissions_and_follows_links(tmp_path: Path) -> None:
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_atomically(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_folder_is_not_written_over_and_a_new_file_not_over_an_old_one(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="it is a folder"):
        write_atomically(tmp_path, "x")
    old = tmp_path / "old"
    old.write_text("old")
    with pytest.raises(FileError, match="exists and is not overwritten"):
        write_new(old, "new")
    assert old.read_text() == "old"
    with pytest.raises(FileError, match="no such file or folder"):
        write_new(tmp_path / "none" / "x", "new")


def test_the_plain_table_names_its_units_and_holds_every_point() -> None:
    lines = curve_csv(_parsed(document(points=5))).splitlines()
    assert lines[0] == "branch,length_m,tape_m,force_N,u_N,u95_mean_N,u95_next_set_N"
    assert [line.split(",")[0] for line in lines[1:]] == ["loading"] * 5 + ["unloading"] * 5
    assert float(lines[1].split(",")[3]) == pytest.approx(document()["branches"]["loading"]["force_N"][0], rel=1e-6)
