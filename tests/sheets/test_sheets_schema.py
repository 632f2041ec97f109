"""The JSON schema says what the reader accepts, and the room's public names stay what they are."""

from __future__ import annotations

import subprocess
import sys

import pytest

import fractionkit.sheets
from fractionkit.sheets import SCHEMA_ID, schema
from fractionkit.sheets.sections import RunFile


def test_public_names():
    assert sorted(fractionkit.sheets.__all__) == [
        "ChargeEntry", "CutTable", "DensityEntry", "IndexEntry", "PressureEntry", "ResultEntry", "Run", "SCHEMA_ID",
        "StemEntry", "TargetEntry", "TestEntry", "ThermometerEntry", "load_run", "schema",
    ]  # fmt: skip


def test_schema_names_every_section_and_refuses_others():
    found = schema()
    assert SCHEMA_ID == found["$id"] == "fractionkit/run/1"
    assert sorted(found["properties"]) == [
        "charge", "density", "holdup", "pressure", "refractive_index", "residue", "result", "run", "still", "target", "test",
        "thermometer",
    ]  # fmt: skip
    assert found["required"] == ["run", "pressure"]
    assert found["additionalProperties"] is False
    assert all(section["additionalProperties"] is False for section in found["$defs"].values())


def test_every_quantity_has_an_example_that_is_accepted():
    tried = 0
    for name, section in RunFile.model_fields.items():
        definition = schema()["$defs"].get(_class_name(section.annotation))
        for key, entry in (definition or {"properties": {}})["properties"].items():
            for example in (option["examples"][0] for option in entry.get("anyOf", ()) if "examples" in option):
                RunFile.model_validate({name: [{key: example}] if name in ("test", "result") else {key: example}})
                tried += 1
    assert tried >= 30


@pytest.mark.parametrize("key", ["mass", "station"])
def test_a_quantity_is_a_text_with_a_unit(key):
    section = {"mass": "ChargeSection", "station": "PressureSection"}[key]
    kinds = [option.get("type") for option in schema()["$defs"][section]["properties"][key]["anyOf"]]
    assert kinds == ["string", "null"]


def test_importing_the_room_is_light():
    heavy = ["pydantic", "scipy", "pandas", "thermo", "matplotlib"]
    code = f"import sys, fractionkit.sheets; print([name for name in {heavy} if name in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def _class_name(annotation: object) -> str:
    """Name of the section's model in ``ChargeSection | None`` or ``list[TestSection] | None``."""
    return next(name for name in schema()["$defs"] if name in str(annotation))
