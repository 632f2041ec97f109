"""Writes data/demo_aliquots: an invented series from a first-order approach with stated errors and a fixed seed."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fractionkit.mixture import Mixture

PLATEAU, START, TIME_CONSTANT = 0.008, 0.118, 26.0  # mass fractions of dichloromethane; min
BIAS, REPEAT, FLUTTER = 0.35, 0.25, 0.1  # kg/m3, kg/m3, K
SPACING, COUNT = 10.0, 24


def rows() -> list[str]:
    """The table's lines."""
    rng = np.random.default_rng(20260509)
    mixture = Mixture(["dichloromethane", "tetrachloroethylene"])
    time = SPACING * np.arange(COUNT)
    w = PLATEAU + (START - PLATEAU) * np.exp(-time / TIME_CONSTANT)
    shown = np.round(21.0 + 0.4 * np.sin(time / 70.0) + 0.05 * rng.standard_normal(COUNT), 1)
    warm = shown + 273.15 + FLUTTER * rng.standard_normal(COUNT)
    density = mixture.density(np.stack([w, 1.0 - w], axis=-1), warm) + BIAS + REPEAT * rng.standard_normal(COUNT)
    notes = {0: "before the nitrogen", 1: "nitrogen on; pot at 60 °C", COUNT - 1: "nitrogen off"}
    hours, minutes = np.divmod(9 * 60 + 20 + time.astype(int), 60)
    return [
        f"{h:02d}:{m:02d},{rho / 1000:.4f},{t:.1f},{notes.get(k, '')}"
        for k, (h, m, rho, t) in enumerate(zip(hours, minutes, density, shown, strict=True))
    ]


if __name__ == "__main__":
    folder = Path(__file__).parents[2] / "data" / "demo_aliquots"
    text = "\n".join(["time,density,density_temp,note", *rows(), ""])
    (folder / "aliquots.csv").write_text(text, encoding="utf-8")
