"""Files a stranger may hand over: what could stall or swell the reader is one sentence, at once."""

import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from calib.acquire.files.check_table import parse_check_table
from calib.acquire.files.run_file import read_run
from calib.acquire.files.series_file import parse_series
from calib.errors import BandcurveError, DataError, FileError
from calib.profile.document import load_profile
from calib.profile.store.decisions import parse_decisions
from calib.profile.store.uses import parse_uses
from calib.safe_read import read_capped
from calib.scale import load_scale
from calib.strict_toml import MOST_PARTS, MOST_TABLES, parse_toml
from calib.use.lineup.lifters_table import parse_lifters
from calib.use.rig.rig_file import parse_rig
from calib.use.rig.rig_files import read_rig


def dotted(parts: int) -> str:
    return ".".join("a" * parts) + " = 1"


@pytest.mark.parametrize(
    "text",
    [
        dotted(1500),
        dotted(40_000),
        f"x = {{{dotted(1500)}}}",
        "[" + ".".join("a" * 1500) + "]",
        '."a"' * 1500 + " = 1",
        ". ".join("a" * 1500) + " = 1",
        "x = " + "[" * 100_000,
        "[[band]]\n" * 100_000,
        "# note\n" * 400_000,
        "a" * 900_000,
    ],
    ids=["dotted", "80 kB", "inline", "header", "quoted", "spaced", "brackets", "tables", "comments", "one word"],
)
def test_a_text_that_could_stall_the_parser_is_one_sentence_within_a_second(text: str) -> None:
    began = time.process_time()
    with pytest.raises(DataError) as caught:
        parse_toml(text, "B07.run.csv", "the head")
    assert time.process_time() - began < 1
    assert caught.value.where.startswith("B07.run.csv")
    assert len(str(caught.value)) < 250


def test_what_people_write_is_read() -> None:
    parts = ".".join("a" * MOST_PARTS) + " = 1"
    assert parse_toml(parts, "x")
    assert parse_toml('note = "e.g. a long note. With dots. 1.2.3."', "x")["note"].startswith("e.g.")
    tables = parse_toml("[[band]]\n" * MOST_TABLES, "x")
    assert len(tables["band"]) == MOST_TABLES


def test_a_mistake_names_its_line() -> None:
    with pytest.raises(DataError, match=r"squat\.rig\.toml:2: is not TOML"):
        parse_toml("a = 1\nb = \n", "squat.rig.toml")


@pytest.mark.parametrize(
    "parse", [parse_series, parse_check_table, parse_decisions, parse_uses, parse_rig, parse_lifters]
)
def test_a_text_saved_as_two_bytes_a_letter_is_named_so(parse: Callable[[bytes, str], object]) -> None:
    with pytest.raises(DataError, match=r"x\.csv: is saved as UTF-16"):
        parse("known_kg,shown_kg\n20,19.8\n".encode("utf-16"), "x.csv")


@pytest.fixture
def impatient() -> Iterator[None]:
    """What waits for ten seconds fails, rather than hangs."""

    def give_up(*_: object) -> None:
        raise TimeoutError("it waits")

    before = signal.signal(signal.SIGALRM, give_up)
    signal.alarm(10)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize("read", [read_run, load_profile, load_scale, read_rig, lambda p: read_capped(p, 10)])
@pytest.mark.usefixtures("impatient")
def test_a_pipe_by_name_is_refused_and_never_waited_for(read: object, tmp_path: Path) -> None:
    pipe = tmp_path / "B07.run.csv"
    os.mkfifo(pipe)
    with pytest.raises(FileError, match="is not a regular file"):
        read(pipe)  # type: ignore[operator]


def test_no_more_of_a_large_file_is_held_than_one_byte_past_the_cap(tmp_path: Path) -> None:
    (tmp_path / "x.json").write_bytes(b"x" * 1000)
    assert len(read_capped(tmp_path / "x.json", 10)) == 11


def test_a_folder_is_named_as_one(tmp_path: Path) -> None:
    with pytest.raises(BandcurveError, match="is a folder"):
        read_capped(tmp_path, 10)
