"""A whole series followed: bands and verdict against a truth that the test made, with errors of its own."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fractionkit.aliquots import follow
from fractionkit.aliquots.document import as_json, json_text
from fractionkit.mixture import Mixture
from fractionkit.sheets.aliquots import load_aliquots
from tests.aliquots import make_demo

DEMO = Path(__file__).parents[2] / "data" / "demo_aliquots"
MINUTE = 60.0


@pytest.fixture(scope="module")
def demo():
    return follow(load_aliquots(DEMO))


def truth() -> np.ndarray:
    """Dichloromethane in the demo's samples, by its README: first order from 11.8 to 0.8 wt%, 26 min."""
    return 0.008 + 0.11 * np.exp(-10.0 * np.arange(24) / 26.0)


def test_the_demo_is_what_its_readme_says():
    lines = (DEMO / "aliquots.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1:] == make_demo.rows()
    assert "INVENTED" in (DEMO / "aliquots.toml").read_text(encoding="utf-8")


def test_demo_holds_its_truth(demo):
    made, change = demo.composition, demo.change
    assert ((made.low[:, 0] <= truth()) & (truth() <= made.high[:, 0])).all()
    moved = truth() - truth()[0]
    assert ((change.low <= moved) & (moved <= change.high)).mean() >= 0.9
    assert made.mean.sum(axis=1) == pytest.approx(1.0)


def test_demo_levels_off(demo):
    assert demo.level.verdict == "levelled off"
    assert demo.level.plateau[1] < 0.008 < demo.level.plateau[2]
    # closed form: A exp(-t/tau) (1 - exp(-30/tau)) = 0.5 wt%
    at = 26.0 * math.log(0.11 * (1 - math.exp(-30 / 26)) / 0.005) * MINUTE
    assert demo.series.samples.time[demo.level.shown_at] > at
    assert demo.approach.level_time[1] < at < demo.approach.level_time[2]
    assert demo.approach.time_constant[1] < 26 * MINUTE < demo.approach.time_constant[2]
    assert not demo.warnings


def test_the_band_of_change_is_not_the_band_of_level(demo):
    # near the end the level carries the bias, the change between two neighbours hardly anything of it
    level = (demo.composition.high - demo.composition.low)[-1, 0]
    change = demo.change.high - demo.change.low
    assert change[1] < 0.6 * (demo.composition.high - demo.composition.low)[1, 0]
    assert change[0] == 0.0
    assert level > 0.008


def test_simulated_series_hold_their_truth():
    # errors drawn here: pure densities and excess volume by their standard uncertainties, bias, scatter, temperature
    rng = np.random.default_rng(77)
    series = load_aliquots(DEMO)
    mixture = Mixture(series.components)
    w = np.stack([truth(), 1 - truth()], axis=-1)
    moved = truth() - truth()[0]
    levels, changes, verdicts = [], [], []
    for _ in range(16):
        world = mixture.perturbed(rng.standard_normal(len(mixture.model_errors)))
        warm = series.samples.density_temperature + (0.1 * rng.standard_normal(24) + 0.3 * rng.standard_normal())
        bias = 0.8 / 1.96 * rng.standard_normal()
        read = world.density(w, warm) + bias + 0.5 / 1.96 * rng.standard_normal(24)
        found = follow(replace(series, samples=replace(series.samples, density=read)))
        made, change = found.composition, found.change
        levels.append(((made.low[:, 0] <= truth()) & (truth() <= made.high[:, 0])).mean())
        changes.append(((change.low <= moved) & (moved <= change.high))[1:].mean())
        verdicts.append(found.level.verdict == "levelled off")
    assert np.mean(levels) > 0.88
    assert np.mean(changes) > 0.88
    assert np.mean(verdicts) > 0.85


def test_a_component_washed_out_to_nothing():
    # at the end of the scale noise and bias would lift levels that are each held within 0-100 %
    rng = np.random.default_rng(78)
    series = load_aliquots(DEMO)
    mixture = Mixture(series.components)
    washed = 0.0004 + 0.11 * np.exp(-10.0 * np.arange(24) / 26.0)
    w = np.stack([washed, 1 - washed], axis=-1)
    levels, plateaus = [], []
    for _ in range(14):
        world = mixture.perturbed(rng.standard_normal(len(mixture.model_errors)))
        warm = series.samples.density_temperature + 0.1 * rng.standard_normal(24) + 0.3 * rng.standard_normal()
        read = world.density(w, warm) + 0.8 / 1.96 * rng.standard_normal() + 0.5 / 1.96 * rng.standard_normal(24)
        found = follow(replace(series, samples=replace(series.samples, density=read)))
        made = found.composition
        levels.append(((made.low[:, 0] <= washed) & (washed <= made.high[:, 0])).mean())
        if found.level.plateau is not None:
            plateaus.append(found.level.plateau[1] <= 0.0006 and found.level.plateau[2] >= 0.0004)
    assert np.mean(levels) > 0.88
    assert len(plateaus) >= 11
    assert np.mean(plateaus) > 0.85


def test_three_components_by_density_and_index(demo):
    names = ("dichloromethane", "tetrachloroethylene", "ethanol")
    mixture = Mixture(names)
    rng = np.random.default_rng(12)
    part = np.stack([truth(), 0.9 - truth(), np.full(24, 0.1)], axis=-1)
    warm = np.full(24, 294.15)
    samples = replace(
        demo.series.samples,
        density=mixture.density(part, warm) + 0.25 * rng.standard_normal(24),
        density_temperature=warm,
        refractive_index=mixture.refractive_index(part, warm) + 1e-4 * rng.standard_normal(24),
        refractive_temperature=warm,
    )
    series = replace(demo.series, components=names, samples=samples, follow="dichloromethane", tolerance=0.02)
    found = follow(series)
    held = (found.composition.low <= part) & (part <= found.composition.high)
    assert held.mean() > 0.9
    assert found.level is not None
    assert found.level.verdict == "levelled off"


def test_scatter_beyond_the_stated_repeatability_is_told(demo):
    rng = np.random.default_rng(2)
    samples = replace(demo.series.samples, density=demo.series.samples.density + 1.5 * rng.standard_normal(24))
    found = follow(replace(demo.series, samples=samples))
    assert any("scatter" in warning for warning in found.warnings)
    assert found.level.half_width > demo.level.half_width


def test_without_a_tolerance_nothing_is_judged(demo):
    found = follow(replace(demo.series, tolerance=None, interval=None))
    assert found.level is None
    assert "not judged" in found.text[0]


def test_one_sample(demo):
    part = {
        name: value[:1] for name, value in vars(demo.series.samples).items() if isinstance(value, np.ndarray | tuple)
    }
    found = follow(replace(demo.series, samples=replace(demo.series.samples, **part)))
    assert found.level.verdict == "undecided"
    assert found.approach is None
    json.loads(json_text(found))


def test_document(demo):
    told = as_json(demo)
    assert told["schema"] == "fractionkit/aliquots/1"
    assert told["clock_start"] == "09:20"
    assert [entry["time_min"] for entry in told["aliquots"]] == pytest.approx(list(range(0, 240, 10)))
    first = told["aliquots"][0]["composition"]["dichloromethane"]
    assert 0 <= first["low"] <= first["estimate"] <= first["high"] <= 1
    assert told["level"]["verdict"] == "levelled off"
    assert told["level"]["interval_min"] == 30
    assert json.loads(json_text(demo)) == told
