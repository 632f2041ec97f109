"""The READMEs of the demo runs say how `python -m tests.demo` makes them; that it does is tested in tests/assessment."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.demo.make import SCENARIOS

DATA = Path(__file__).resolve().parents[2] / "data"
SCENARIO = pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.folder)


@SCENARIO
def test_the_readme_states_every_number_of_the_scenario(scenario):
    text = " ".join((DATA / scenario.folder / "README.md").read_text(encoding="utf-8").split())
    ends = [f"{1000 * end:g}" for end in scenario.ends]
    bias, density = scenario.thermometer, scenario.density
    for words in (
        f"seed {scenario.seed})",
        f"{1000 * scenario.charge:g} g of",
        f"{scenario.stages:g} theoretical stages",
        f"reflux ratio {scenario.reflux:g}",
        f"at {scenario.pressure / 1000:g} kPa",
        f"{100 * scenario.feed[0]:g} wt% {scenario.components[0]}",
        f"changed at {', '.join(ends[:-1])} and {ends[-1]} g",
        f"{'less' if bias < 0 else 'plus'} {abs(bias):g} K in every reading (the thermometer reads "
        f"{'low' if bias < 0 else 'high'}), with a fresh error of {scenario.thermometer_repeat:g} K",
        f"{'less' if density < 0 else 'plus'} {abs(density):g} kg/m3 in every reading, with a fresh error of "
        f"{scenario.density_repeat:g} kg/m3",
        f"about {scenario.room:g} °C",
        f"{100 * scenario.lost:g} % of each cut evaporates before it is weighed, {200 * scenario.lost:g} % of the residue",
        "INVENTED DATA",
    ):
        assert words in text


def test_every_folder_is_in_the_table():
    text = (DATA / "README.md").read_text(encoding="utf-8")
    for folder in DATA.iterdir():
        if folder.is_dir() and not folder.name.startswith("_"):
            assert f"| `{folder.name}` |" in text
