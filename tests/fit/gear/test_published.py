"""The load-cell calibration of NIST (P. Pontius), through the check of a scale and through the command."""

import csv
import json
from pathlib import Path

import pytest

from calib.fit.gear.known_loads import KnownLoads, water_density, water_mass
from calib.fit.gear.scale_check import ScaleCheck, check_scale
from calib.fit.gear.weighings import Weighing
from calib.verbs.app import run

PONTIUS = Path(__file__).parents[2] / "data" / "pontius.csv"

# NIST StRD, Linear Least Squares, Pontius data set: certified values and standard deviations
CERTIFIED = (0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14)
CERTIFIED_SD = (0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16)
CERTIFIED_RESIDUAL_SD = 0.205177424076185e-3

# NIST/SEMATECH e-Handbook of Statistical Methods, 4.6.1, same data: lack-of-fit F of line (as printed) and quadratic
F_LINE, F_QUADRATIC, P_QUADRATIC = 214.7464, 0.8107, 0.6662


def _rows() -> list[tuple[float, float]]:
    lines = (line for line in PONTIUS.read_text().splitlines() if not line.startswith("#"))
    return [(float(row["load"]), float(row["deflection"])) for row in csv.DictReader(lines)]


@pytest.fixture(scope="module")
def pontius() -> ScaleCheck:
    weighings = [Weighing((load,), deflection) for load, deflection in _rows()]
    return check_scale(weighings, KnownLoads("nist", "force", 0.0, 0.0), 0.0, "1975-06-01", g=1.0)


def test_coefficients_are_the_certified_ones(pontius: ScaleCheck) -> None:
    assert pontius.plain.coefficients == pytest.approx(CERTIFIED, rel=1e-9)
    assert pontius.plain.sd == pytest.approx(CERTIFIED_SD, rel=1e-9)
    assert pontius.plain.residual_sd == pytest.approx(CERTIFIED_RESIDUAL_SD, rel=1e-9)
    assert pontius.plain.dof == 37


def test_lack_of_fit_asks_for_the_quadratic_and_is_content_with_it(pontius: ScaleCheck) -> None:
    assert pontius.line_fit is not None
    assert pontius.quadratic_fit is not None
    assert pytest.approx(F_LINE, rel=1e-5) == pontius.line_fit.F
    assert pytest.approx(F_QUADRATIC, abs=5e-5) == pontius.quadratic_fit.F
    assert pontius.quadratic_fit.p == pytest.approx(P_QUADRATIC, abs=5e-5)
    assert pontius.order == 2


def test_correction_turns_certified_deflections_back_into_loads(pontius: ScaleCheck) -> None:
    b0, b1, b2 = CERTIFIED
    for load in (6e5, 1.5e6, 2.7e6):
        back = pontius.correction.force(b0 + b1 * load + b2 * load**2)
        assert abs(back - load) < pontius.plain.residual_sd / b1  # within the scatter of one reading


def test_command_prints_the_certified_values(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table, scale = tmp_path / "pontius.csv", tmp_path / "cell.scale.json"
    rows = "".join(f"{load!r},{deflection!r},up\n" for load, deflection in _rows())
    table.write_text(f"known_N,shown_N,branch\n{rows}")
    scale.write_text('{"format": "bandcurve-scale/1", "id": "cell", "kind": "load-cell", "resolution_N": 0.0}')
    assert run(["scale", "check", str(scale), "--from", str(table), "--any-gain", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["plain"]["coefficients"] == pytest.approx(CERTIFIED, rel=1e-9)
    assert said["plain"]["residual_sd_N"] == pytest.approx(CERTIFIED_RESIDUAL_SD, rel=1e-9)
    assert said["lack_of_fit"]["line"]["F"] == pytest.approx(F_LINE, rel=1e-5)
    assert said["lack_of_fit"]["quadratic"]["F"] == pytest.approx(F_QUADRATIC, abs=5e-5)
    assert said["order"] == 2
    assert json.loads(scale.read_text())["checks"][0]["correction"]["max_N"] == 3e6


def test_water_is_as_dense_as_the_tables_say() -> None:
    """Tanaka et al., Metrologia 38 (2001) 301: 999.9749, 998.2067, 997.0470 kg/m3 at 4, 20, 25 C (from memory)."""
    assert water_density(4) == pytest.approx(999.9749, abs=2e-4)
    assert water_density(20) == pytest.approx(998.2067, abs=2e-4)
    assert water_density(25) == pytest.approx(997.0470, abs=2e-4)


def test_water_in_air_hangs_lighter_than_it_is() -> None:
    """A litre at 20 C is 0.99821 kg; 1.2 g of air carry it, and 0.015 % are the iron's (OIML D 28; by arithmetic)."""
    assert water_mass(0.001, 20) == pytest.approx((0.9982067 - 0.0012) / (1 - 1.2 / 8000), abs=1e-6)
