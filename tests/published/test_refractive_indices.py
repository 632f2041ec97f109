"""Refractive indices against papers that measured whole spectra (data/checks/refractive_indices.csv)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from fractionkit import Mixture

TABLE = Path(__file__).parents[2] / "data" / "checks" / "refractive_indices.csv"
ROWS = list(csv.DictReader(line for line in TABLE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")))


def of_catalogue(name: str, t_C: float) -> float:
    """nD of the pure substance: a mixture's formula at one of its ends."""
    other = "water" if name != "water" else "ethanol"
    return float(Mixture([name, other]).refractive_index(np.array([1.0, 0.0]), t_C + 273.15))


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['substance']} {row['t_C']} {row['source'][:9]}")
def test_pure_liquids_at_the_sodium_line(row: dict[str, str]):
    off = abs(of_catalogue(row["substance"], float(row["t_C"])) - float(row["nD"]))
    if row["remark"]:
        assert off > float(row["tolerance"]), "the row is listed as an outlier but is none"
    else:
        assert off <= float(row["tolerance"])


def test_the_papers_have_no_common_shift():
    # 0.0008 is what one paper differs by; the mean of some twenty of them is that of the catalogue within 0.0003.
    off = [of_catalogue(r["substance"], float(r["t_C"])) - float(r["nD"]) for r in ROWS if not r["remark"]]
    assert len(off) > 20
    assert abs(np.mean(off)) < 3e-4
    assert np.std(off) < 1e-3


def test_slope_of_hexane():
    """Kerl and Varchmin, 40 to 60 °C: -5.6e-4 /K; the catalogue computes its slopes from the density's."""
    told = {
        float(r["t_C"]): float(r["nD"]) for r in ROWS if r["substance"] == "hexane" and r["source"].startswith("Kerl")
    }
    slope = (told[60.0] - told[40.0]) / 20
    assert (of_catalogue("hexane", 60) - of_catalogue("hexane", 40)) / 20 == pytest.approx(slope, rel=0.1)
