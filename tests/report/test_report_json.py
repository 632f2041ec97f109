"""The JSON document: what the published schema says, in the units that the keys name, never NaN."""

import copy
import json
from importlib.resources import files

import jsonschema
import pytest

from fractionkit.report import as_json, json_text
from fractionkit.report.document import SCHEMA, SCHEMA_FILE
from tests.report.sample import BINARY, TERNARY, bare, hostile, sample

SCHEMA_TEXT = json.loads(files("fractionkit.report").joinpath(SCHEMA_FILE).read_text(encoding="utf-8"))
CHECK = jsonschema.Draft202012Validator(SCHEMA_TEXT)


def test_schema_is_itself_valid():
    jsonschema.Draft202012Validator.check_schema(SCHEMA_TEXT)


@pytest.mark.parametrize(
    "run",
    [
        sample(),
        sample(TERNARY, count=30),
        sample(count=300),
        hostile(),
        sample(target=False),
        sample(lot=False),
        sample(masses=False),
        bare(),
    ],
)
def test_documents_follow_the_schema_and_come_back_whole(run):
    document = json.loads(json_text(run), parse_constant=lambda name: pytest.fail(f"{name} in the document"))
    CHECK.validate(document)
    assert document == as_json(run)
    assert [cut["cut"] for cut in document["cuts"]] == [cut.name for cut in run.cuts]


@pytest.mark.parametrize(
    "spoil",
    [
        lambda document: document.pop("lot"),
        lambda document: document.update(schema="fractionkit/assessment/2"),
        lambda document: document["cuts"][0].update(decision="sell"),
        lambda document: document["cuts"][0].pop("probability_meets_target"),
        lambda document: document["cuts"][0]["composition"][BINARY[0]].update(high=1.2),
        lambda document: document["cuts"][0].update(mass_g=-1),
        lambda document: document["lot"].update(meets_target="yes"),
        lambda document: document["balance"].pop("loss_g"),
        lambda document: document["instruments"].pop("density_bias_g_per_mL"),
        lambda document: document["flags"].append({"code": "x"}),
    ],
)
def test_schema_refuses_a_spoilt_document(spoil):
    document = copy.deepcopy(as_json(sample()))
    spoil(document)
    assert not CHECK.is_valid(document)


def test_keys_and_units():
    run = sample()
    document = as_json(run)
    assert document["schema"] == SCHEMA == "fractionkit/assessment/1"
    assert document["components"] == list(BINARY)
    assert document["cuts"][0]["mass_g"] == pytest.approx(1000 * run.cuts[0].mass)
    assert document["cuts"][0]["head_C"][1] == pytest.approx(run.readings.head_end[0] - 273.15)
    assert document["lot"]["assay"] == {"estimate": 0.99327, "low": 0.99012, "high": 0.99589}
    assert document["lot"]["meets_target"] is True
    assert document["balance"]["loss_g"] == 37.0
    assert document["balance"]["components"][BINARY[0]]["loss_g"]["low"] == -12.0
    assert document["instruments"]["thermometer_bias_K"] == {"estimate": -0.52, "low": -0.71, "high": -0.33}
    assert document["instruments"]["density_bias_g_per_mL"] == {"estimate": 1e-4, "low": -5e-4, "high": 7e-4}


def test_what_is_unknown_is_null():
    document = as_json(bare())
    assert document["lot"] is None
    assert document["target"] is None
    assert document["cuts"][0]["mass_g"] is None
    assert document["cuts"][0]["probability_meets_target"] is None
    assert document["cuts"][0]["head_C"] == [None, None]
    assert document["consistency"] is None
    assert document["instruments"] == {"thermometer_bias_K": None, "density_bias_g_per_mL": None}
    assert document["balance"]["charge_g"] is document["balance"]["loss_g"] is None
