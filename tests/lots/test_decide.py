"""Verdicts in words."""

import numpy as np

from fractionkit.lots import decide


def verdicts(**changes):
    case = {
        "kept": np.array([True, True, False, False, False, False]),
        "alone": np.array([0.99, 0.60, 0.20, 0.0, 0.0, 0.0]),
        "mean": np.array([0.995, 0.989, 0.97, 0.60, 0.03, 0.02]),
        "high": np.array([0.999, 0.995, 0.98, 0.65, 0.05, 0.04]),
        "share": np.array([0.3, 0.1, 0.05, 0.35, 0.1, 0.1]),
        "target": "chloroform",
        "other": np.array([0.005, 0.011, 0.03, 0.40, 0.97, 0.5]),
        "others": ("carbon tetrachloride",) * 6,
        "purity": 0.99,
        "confidence": 0.95,
    }
    return decide(**{**case, **changes})


def test_each_cut_goes_its_way():
    found = [verdict.decision for verdict in verdicts()]
    assert found == ["keep", "keep", "recycle", "redistil", "redistil", "waste"]


def test_reasons_name_figure_and_component():
    first, second, third, fourth, fifth, sixth = (verdict.reason for verdict in verdicts())
    assert "99 wt% chloroform on its own" in first
    assert "purer cuts" in second
    assert "97 wt%, the rest mainly carbon tetrachloride" in third
    assert "35 % of all collected" in fourth
    assert "97 wt% carbon tetrachloride" in fifth
    assert "at most 4 wt% chloroform" in sixth


def test_a_cut_of_unknown_mass_is_not_lost():
    share = np.array([0.3, 0.1, np.nan, 0.35, 0.1, 0.1])
    assert verdicts(share=share)[2].decision == "recycle"
    assert "mass is unknown" in verdicts(share=share)[2].reason
