"""Verdicts in words."""

import numpy as np

from fractionkit.lots import Verdict, decide


def verdicts(**changes):
    case = {
        "kept": np.array([True, True, False, False, False, False]),
        "alone": np.array([0.99, 0.60, 0.20, 0.0, 0.0, 0.0]),
        "mean": np.array([0.995, 0.989, 0.97, 0.60, 0.03, 0.02]),
        "low": np.array([0.99, 0.98, 0.965, 0.55, 0.01, 0.01]),
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
    assert found == ["keep", "keep", "recycle", "recycle", "redistil", "waste"]


def test_reasons_name_figure_and_component():
    first, second, third, fourth, fifth, sixth = (verdict.reason for verdict in verdicts())
    assert "99 wt% chloroform on its own" in first
    assert "purer cuts" in second
    assert "97.00 (96.50–98.00) wt%, the rest mainly carbon tetrachloride" in third
    assert "60.0 (55.0–65.0) wt%" in fourth
    assert "next charge" in fourth
    assert "97 wt% carbon tetrachloride" in fifth
    assert "at most 4 wt% chloroform" in sixth


def test_a_cut_of_unknown_mass_is_not_lost():
    share = np.array([0.3, 0.1, np.nan, 0.35, 0.1, 0.1])
    assert verdicts(share=share)[2].decision == "recycle"
    assert "mass is unknown" in verdicts(share=share)[2].reason


def test_cuts_that_fall_short_go_the_same_way():
    """A third cut as impure as its neighbours but heavier: all into the next charge, or all make a charge of their own."""
    mean, low, high = np.array([0.88, 0.86, 0.82]), np.array([0.86, 0.84, 0.80]), np.array([0.90, 0.88, 0.84])
    case = {
        "kept": np.zeros(3, dtype=bool), "alone": np.zeros(3), "mean": mean, "low": low, "high": high,
        "other": 1.0 - mean, "others": ("carbon tetrachloride",) * 3,
    }  # fmt: skip
    assert [v.decision for v in verdicts(**case, share=np.array([0.1, 0.1, 0.25]))] == ["recycle"] * 3
    heavy = verdicts(**case, share=np.array([0.2, 0.2, 0.3]))
    assert [v.decision for v in heavy] == ["redistil"] * 3
    assert all("the 3 cuts like it, 70 % of all collected, make a charge" in v.reason for v in heavy)


def test_cuts_of_another_main_component_are_not_put_with_them():
    """Together they would be the charge that was distilled."""
    mean = np.array([0.88, 0.86, 0.30])
    case = {
        "kept": np.zeros(3, dtype=bool), "alone": np.zeros(3), "mean": mean, "low": mean - 0.02, "high": mean + 0.02,
        "other": 1.0 - mean, "others": ("carbon tetrachloride",) * 3, "share": np.array([0.30, 0.30, 0.40]),
    }  # fmt: skip
    assert [v.decision for v in verdicts(**case)] == ["redistil", "redistil", "recycle"]


def test_what_distilling_does_not_purify_is_settled_beforehand():
    """Unless it is kept, or too poor to be worth anything."""
    settled = {k: Verdict("waste", "an azeotrope") for k in (0, 2, 5)}
    found = verdicts(settled=settled)
    assert found[0].decision == "keep"
    assert found[2] == settled[2]
    assert "at most" in found[5].reason
