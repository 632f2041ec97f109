"""`fractionkit substance`: the table fits the terminal, the JSON holds what the catalogue holds."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from fractionkit.cli.substance import command
from fractionkit.errors import InputError, UnknownSubstanceError
from fractionkit.substances import catalogue, get, names, spread
from fractionkit.substances.cautions import cautions

app = typer.Typer(pretty_exceptions_enable=False)
app.command()(command)


def run(*arguments: str, width: int = 100) -> str:
    """Output of the command at a terminal of ``width`` columns; an error is raised as it is."""
    result = CliRunner().invoke(app, list(arguments), env={"COLUMNS": str(width)}, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


@pytest.mark.parametrize("width", [80, 100, 160])
@pytest.mark.parametrize("name", ["chloroform", "trichloroethylene", "1,1,2,2-tetrachloroethane", "water"])
def test_the_table_fits(name: str, width: int):
    output = run(name, width=width)
    assert max(len(line.rstrip()) for line in output.splitlines()) <= min(width, 100)


@pytest.mark.parametrize("name", names())
def test_every_substance_is_shown_whole(name: str):
    output = " ".join(run(name).split())
    substance = get(name)
    assert f"CAS {substance.cas}" in output
    for heading in ("Constants", "Spread between sources", "Cautions"):
        assert heading in output
    for sentence in substance.conflicts:
        assert sentence.split()[0] in output
    # Long lines are folded inside the table: look for the first words of each caution.
    for line in cautions([name]):
        assert " ".join(line.text.split()[:3]) in output


def test_chloroform_shows_the_accepted_values():
    # Boiling point 61.17 degC (CRC Handbook via reference/boiling_points.csv 61.1-61.2); journal papers measure
    # 1488.4-1488.7 kg/m3 at 20 degC (reference/README.md, trap 2), while VDI's equation gives 1492.6.
    output = run("chloroform")
    assert "61.1" in output
    assert "1.488" in output
    assert "1.4926 g/mL" in output
    assert "VDI" in output


def test_synonym_and_cas_find_the_same():
    assert run("perc") == run("tetrachloroethylene") == run("127-18-4")


def test_an_unknown_name_offers_the_nearest():
    with pytest.raises(UnknownSubstanceError, match="trichloroethylene"):
        run("trichlorethilene")
    with pytest.raises(UnknownSubstanceError):
        run("unobtainium", "--list")


def test_without_a_name_the_catalogue_is_listed():
    output = run()
    assert output == run("--list")
    for substance in catalogue():
        assert substance.cas in output
    assert max(len(line.rstrip()) for line in run(width=80).splitlines()) <= 80


def test_list_with_a_name_searches():
    output = run("dichloroethane", "--list")
    assert "75-34-3" in output
    assert "107-06-2" in output
    assert "67-66-3" not in output


def test_json_on_standard_output_is_only_json():
    told = json.loads(run("tetrachloroethylene", "--json", "-"))
    substance = get("tetrachloroethylene")
    assert told["schema"] == "fractionkit/substance/1"
    assert told["cas"] == "127-18-4"
    constants = told["constants"]
    # Molar mass of C2Cl4 from the atomic weights 12.011 and 35.45 (IUPAC 2013 abridged): 165.82.
    assert constants["molar_mass_g_per_mol"]["value"] == pytest.approx(2 * 12.011 + 4 * 35.45, abs=0.02)
    # Boiling point 121.1 to 121.3 degC and density 1.623 g/mL at 20 degC: common handbook values, from memory.
    assert constants["boiling_point_C"]["value"] == pytest.approx(121.2, abs=0.3)
    assert constants["density_g_per_mL"]["value"] == pytest.approx(1.623, abs=0.002)
    assert constants["density_g_per_mL"]["u"] >= 0.0003 * 0.99
    # The Antoine set gives the normal pressure at the boiling point within the stated uncertainty (closed form).
    antoine = constants["vapour_pressure"]
    kelvin = constants["boiling_point_C"]["value"] + 273.15
    log_p = antoine["A"] - antoine["B"] / (kelvin + antoine["C"])
    assert 10**log_p == pytest.approx(101325, rel=0.01)
    assert len(told["other_sources"]) == len(spread(substance))
    assert {line["code"] for line in told["hazard_statements"]} >= {"H351", "H411"}
    assert told["exposure_limits_ppm"]["pel"].startswith("100 TWA")
    for row in told["other_sources"]:
        assert row["difference"] == pytest.approx(row["value"] - row["catalogue"])
    for line in told["cautions"]:
        assert set(line) == {"substance", "kind", "text", "source", "status"}


def test_json_file_is_written_beside_the_table(tmp_path: Path):
    target = tmp_path / "chloroform.json"
    output = run("chloroform", "--json", str(target))
    assert "Constants" in output
    assert f"written: {target}" in output.replace("\n", "")
    assert json.loads(target.read_text(encoding="utf-8"))["name"] == "chloroform"


def test_json_of_the_catalogue():
    told = json.loads(run("--json", "-"))
    assert told["schema"] == "fractionkit/substances/1"
    assert [entry["name"] for entry in told["substances"]] == list(names())


def test_an_output_path_that_cannot_be_written_is_refused_first(tmp_path: Path):
    with pytest.raises(InputError, match="existing folder"):
        run("chloroform", "--json", str(tmp_path / "no" / "file.json"))


# The thermo package leaves a data file of its own open when it is imported; nothing of ours is hidden by this filter.
@pytest.mark.filterwarnings("ignore:.*CoolPropFluids:pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("name", ["chloroform", "1,1-dichloroethane"])
def test_audit_computes_the_stored_table_again(name: str):
    # The stored table was written from the same packages: live values must agree to the decimals it keeps.
    stored = json.loads(run(name, "--json", "-"))
    live = json.loads(run(name, "--json", "-", "--audit"))
    assert (stored["audited_live"], live["audited_live"]) == (False, True)

    def table(told: dict) -> dict:
        return {(row["property"], row["source"], row["temperature"]): row["value"] for row in told["other_sources"]}

    assert table(live) == pytest.approx(table(stored), abs=0.006)
    assert "computed now" in run(name, "--audit")


def test_importing_the_command_is_light():
    code = (
        "import sys, fractionkit.cli.substance\n"
        "heavy = ('numpy', 'pandas', 'scipy', 'thermo', 'fractionkit.substances')\n"
        "print([name for name in heavy if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
