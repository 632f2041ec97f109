"""`fractionkit reading …` at the prompt. Expected figures: published tables and standards, named beside each."""

from __future__ import annotations

import json
import math
import re

import pytest
from typer.testing import CliRunner

from fractionkit.cli.reading import app
from fractionkit.errors import InputError, OutOfRangeError, UnknownSubstanceError


def run(*arguments: str, width: int = 100) -> str:
    """Output of the command; an error is raised as it is."""
    done = CliRunner().invoke(app, list(arguments), env={"COLUMNS": str(width)}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def read(*arguments: str) -> dict:
    told = json.loads(run(*arguments, "--json", "-"))
    assert told["schema"] == "fractionkit/reading/1"
    return told


def half(told: dict) -> float:
    result = told["result"]
    assert result["low"] <= result["estimate"] <= result["high"]
    return (result["high"] - result["low"]) / 2


def test_pressure_by_altitude_is_the_standard_atmosphere():
    # US Standard Atmosphere 1976, tables of the troposphere: 1000 m, 89 875 Pa (674.11 mmHg).
    told = read("pressure", "--sea-level", "1013.25 hPa", "--altitude", "1000 m")
    assert told["result"]["estimate"] == pytest.approx(89.875, abs=0.002)
    assert told["result"]["unit"] == "kPa"
    assert told["corrections"][0]["change"] == pytest.approx(89875 - 101325, abs=2)


def test_pressure_tells_the_boiling_point_of_water():
    # 101.325 kPa: 99.974 °C on ITS-90 (IAPWS, Revised Supplementary Release on Saturation Properties, 1992).
    assert read("pressure", "1 atm")["also"]["water boils there at"].startswith("99.97 ")


def test_pressure_that_looks_like_sea_level_is_told():
    told = read("pressure", "1019 hPa", "--altitude", "1400 m")
    assert any("sea-level" in sentence for sentence in told["warnings"])


def test_a_written_half_width_stands():
    assert half(read("pressure", "98.6 ± 0.4 kPa")) == pytest.approx(0.4)
    assert any("No ±" in sentence for sentence in read("pressure", "98.6 kPa")["warnings"])


def test_mercury_barometer():
    # Smithsonian Meteorological Tables, reduction to 0 °C, brass scale: 760 mm at 20 °C, -2.48 mm (from memory; the
    # closed form of the two expansions: 760 (0.0001818 - 0.0000184) 20 / (1 + 0.003636) = 2.475 mm).
    told = read("pressure", "760 mmHg", "--mercury", "20 °C")
    assert told["corrections"][0]["change"] / 133.322 == pytest.approx(-2.475, abs=0.002)


def test_two_point_thermometer():
    # Closed form: (61.0 - 0.3) / (99.6 - 0.3) of the steam point; steam at 98.6 kPa: 99.21 °C (IAPWS-IF97, eq. 31).
    told = read("thermometer", "61.0 °C", "--ice", "0.3 °C", "--steam", "99.6 °C", "--pressure", "98.6 kPa")
    assert told["result"]["estimate"] == pytest.approx((61.0 - 0.3) / 99.3 * 99.21, abs=0.01)


def test_emergent_stem():
    # Common practice: 0.00016 × 60 × (T - 30), T the bulb's, solved by hand for a reading of 121 °C.
    told = read("thermometer", "121 °C", "--exposed", "60 K", "--stem-temp", "30 °C")
    bulb = (121 - 0.0096 * 30) / (1 - 0.0096)
    assert told["result"]["estimate"] == pytest.approx(bulb, abs=1e-6)


def test_constant_correction_below_zero():
    told = read("thermometer", "-5.0 ± 0.3 °C", "--correction", "-0.4 °C", "--bias", "0.4 K")
    assert told["result"]["estimate"] == pytest.approx(-5.4)
    assert half(told) == pytest.approx(0.5, rel=1e-6)  # 0.3 and 0.4 in quadrature


def test_density_by_weight():
    # Closed form, air 1.2 kg/m3: rho = a + (W/Ww)(rho_w - a); water at 20 °C 998.2067 kg/m3 (Tanaka et al. 2001).
    told = read(
        "density", "--empty", "23.4512 g", "--water", "48.4027 g", "--water-temp", "20 °C",
        "--filled", "60.5123 g", "--temp", "20 °C",
    )  # fmt: skip
    expected = 1.2 + (60.5123 - 23.4512) / (48.4027 - 23.4512) * (998.2067 - 1.2)
    assert told["result"]["estimate"] == pytest.approx(expected / 1e3, abs=2e-6)
    # ISO 4787, factor Z at 20 °C and 101.3 kPa: 1.0029 mL/g (from memory), times 24.9515 g.
    assert float(told["also"]["volume of the vessel at 20 °C"].split()[0]) == pytest.approx(25.024, abs=0.003)


def test_a_coarse_balance_makes_a_wide_interval():
    fine = ("--empty", "23.4512 g", "--water", "48.4027 g", "--filled", "60.5123 g")
    coarse = ("--empty", "23.5 g", "--water", "48.4 g", "--filled", "60.5 g")
    beside = ("--water-temp", "20 °C", "--temp", "20 °C")
    wide, narrow = half(read("density", *coarse, *beside)), half(read("density", *fine, *beside))
    # 0.1 g in 25 g, on three weighings, is at least 2 × 0.1/25 of 1.48 g/mL.
    assert wide > 2 * 0.1 / 25 * 1.48 > narrow


def test_specific_gravity_and_another_temperature():
    # 1.482 × 0.998207 g/mL (Tanaka et al. 2001); chloroform 1488.638 and 1479.148 kg/m3 at 20 and 25 °C (Smiljanic et
    # al., Int. J. Thermophys. 29 (2008) 586).
    told = read("density", "1.482 sg20/20", "--at", "25 °C", "--substance", "chloroform")
    assert told["corrections"][0]["change"] == pytest.approx(1482 * (0.998207 - 1), abs=0.01)
    assert told["result"]["estimate"] == pytest.approx(1.482 * 0.998207 - 0.00949, abs=1e-4)


def test_density_by_hydrometer():
    # ISO 1768: glass expands 0.000025 /K, ten degrees above the scale's own temperature.
    told = read("density", "1.482 ± 0.001 g/mL", "--temp", "30 °C", "--to", "30 °C", "--method", "hydrometer")
    assert told["result"]["estimate"] == pytest.approx(1.482 / 1.00025, abs=1e-6)


def test_methods_are_not_alike():
    wide, narrow = (half(read("density", "1.482 g/mL", "--temp", "20 °C", "--method", m)) for m in ("syringe", "meter"))
    assert wide > 20 * narrow


def test_refractive_index_is_moved_and_compared():
    # Chloroform nD 1.4459 at 20 °C (handbooks), about -0.0006 per K.
    told = read("refractive-index", "1.4447 ± 0.0002", "--temp", "22 °C", "--substance", "chloroform")
    assert told["result"]["estimate"] == pytest.approx(1.4459, abs=4e-4)
    assert told["warnings"] == []
    far = read("refractive-index", "1.4600 ± 0.0002", "--temp", "22 °C", "--substance", "chloroform")
    assert "not pure" in far["warnings"][0]


def test_boiling_point_brought_to_normal_pressure():
    # Carbon tetrachloride boils at 76.7 °C (common practice); dT/dp near 1 atm is 0.32–0.34 K/kPa.
    told = read("boiling-point", "75.8 ± 0.3 °C", "--substance", "carbon tetrachloride", "--pressure", "98.6 ± 0.2 kPa")
    assert told["result"]["estimate"] == pytest.approx(76.7, abs=0.15)
    assert told["warnings"] == []
    low = read("boiling-point", "71 ± 0.3 °C", "--substance", "carbon tetrachloride", "--pressure", "98.6 ± 0.2 kPa")
    assert "below pure carbon tetrachloride" in low["warnings"][0]


def test_boiling_point_expected():
    # Chloroform at 101.325 kPa: 61.2 °C (handbooks).
    told = read("boiling-point", "--substance", "67-66-3", "--pressure", "1 atm")
    assert told["result"]["estimate"] == pytest.approx(61.2, abs=0.25)
    assert told["result"]["source"]


@pytest.mark.parametrize("typed, decimals", [("60.4 °C", 1), ("60,42 °C", 2), ("60 °C", 0)])
def test_a_reading_without_uncertainty_shows_no_digits_that_were_not_read(typed, decimals):
    arguments = ("boiling-point", typed, "--substance", "chloroform", "--pressure", "98.6 kPa")
    shown = re.search(r"boiling point at 101.325 kPa +(\S+) °C", run(*arguments)).group(1)
    assert len(shown.partition(".")[2]) == decimals
    assert float(shown) == pytest.approx(read(*arguments)["result"]["estimate"], abs=0.5 * 10**-decimals)


EVERY = [
    ("pressure", "--sea-level", "1019 hPa", "--altitude", "640 m"),
    ("thermometer", "61 °C", "--ice", "0.3 °C"),
    ("density", "1.482 sg20/20", "--at", "25 °C", "--substance", "chloroform"),
    ("refractive-index", "1.4447", "--temp", "22 °C", "--substance", "TCE"),
    ("boiling-point", "60.4 °C", "--substance", "chloroform", "--pressure", "98.6 kPa"),
]


@pytest.mark.parametrize("arguments", EVERY)
@pytest.mark.parametrize("width", [80, 160])
def test_the_table_fits_and_shows_every_step(arguments, width):
    output = run(*arguments, width=width)
    told = read(*arguments)
    assert max(len(line.rstrip()) for line in output.splitlines()) <= min(width, 100)
    flat = " ".join(output.split())
    for text in told["shown"].values():
        assert text in flat
    assert "± 95 %" in flat
    assert flat.count("Warning:") == len(told["warnings"])
    assert all(math.isfinite(step["half_width"]) and step["source"] for step in told["corrections"])


@pytest.mark.parametrize("arguments", EVERY)
def test_json_to_a_file_is_the_same(arguments, tmp_path):
    path = tmp_path / "reading.json"
    output = run(*arguments, "--json", str(path))
    assert f"written: {path}" in output
    assert json.loads(path.read_text(encoding="utf-8")) == read(*arguments)


REFUSED = [
    (("pressure",), InputError, ["STATION or --sea-level"]),
    (
        ("pressure", "-5 g", "--altitude", "6 kPa"),
        InputError,
        ["STATION: found '-5 g'", "--altitude: found '6 kPa'"],
    ),
    (("pressure", "--sea-level", "1019 hPa"), InputError, ["--altitude"]),
    (("pressure", "--mercury", "20 °C"), InputError, ["--mercury", "STATION"]),
    (("pressure", "5 kPa"), OutOfRangeError, ["STATION", "20 to 200 kPa"]),
    (("thermometer", "61"), InputError, ["READING", "unit is missing"]),
    (("thermometer", "61 °C", "--steam", "99 °C"), InputError, ["--steam", "pressure"]),
    (("thermometer", "61 °C", "--ice", "12 °C"), OutOfRangeError, ["--ice", "12 °C"]),
    (("thermometer", "61 °C", "--kind", "glass"), InputError, ["--kind", "mercury"]),
    (("thermometer", "61 °C", "--exposed", "60 K"), InputError, ["--stem-temp"]),
    (("density",), InputError, ["READING", "--empty"]),
    (("density", "1.4 g/mL"), OutOfRangeError, ["--temp"]),
    (("density", "1.482 sg"), InputError, ["READING", "sg20/20"]),
    (("density", "14.82 g/mL", "--temp", "20 °C"), OutOfRangeError, ["READING", "0.5 to 3.5"]),
    (("density", "1.4 g/mL", "--temp", "20 °C", "--method", "eye"), InputError, ["--method", "pycnometer"]),
    (("density", "--empty", "20 g", "--temp", "20 °C"), InputError, ["--water:", "--water-temp:", "--filled:"]),
    (("density", "1.4 g/mL", "--empty", "20 g"), InputError, ["not both"]),
    (("density", "1.4 g/mL", "--temp", "20 °C", "--glass", "lead"), InputError, ["--glass", "soda-lime"]),
    (("refractive-index", "14.4", "--temp", "20 °C"), InputError, ["READING"]),
    (("boiling-point", "--substance", "chlorform", "--pressure", "1 atm"), UnknownSubstanceError, ["chloroform"]),
]


@pytest.mark.parametrize("arguments, error, parts", REFUSED)
def test_wrong_input_names_the_option(arguments, error, parts, tmp_path):
    path = tmp_path / "out.json"
    with pytest.raises(error) as caught:
        run(*arguments, "--json", str(path))
    for part in parts:
        assert part in str(caught.value)
    assert not path.exists()


def test_an_unwritable_output_is_refused_first(tmp_path):
    with pytest.raises(InputError, match="folder"):
        run("pressure", "98.6 kPa", "--json", str(tmp_path / "none" / "out.json"))


@pytest.mark.parametrize(
    "arguments", [("pressure", "1 atm", "--tmp", "x"), ("boiling-point",), ("refractive-index", "1.4")]
)
def test_unknown_or_missing_options_are_usage_errors(arguments):
    assert CliRunner().invoke(app, list(arguments)).exit_code == 2
