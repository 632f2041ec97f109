"""A sheet of four components through the whole assessment: points are scattered there, not laid in cells."""

import numpy as np

from fractionkit import assess, load_run
from fractionkit.mixture import Mixture

NAMES = ["dichloromethane", "chloroform", "trichloroethylene", "tetrachloroethylene"]
TRUTH = np.array([[0.55, 0.30, 0.12, 0.03], [0.10, 0.35, 0.40, 0.15], [0.01, 0.04, 0.35, 0.60]])


def test_four_components(tmp_path):
    """Invented: heads are the dew points of the cuts either side by 0.5 K, densities those of the mixture to the last digit."""
    mixture = Mixture(NAMES)
    head = mixture.dew_point(mixture.mole_fractions(TRUTH), 100_000.0)[0] - 273.15
    density = mixture.density(TRUTH, np.full(3, 293.15)) / 1000.0
    listed = ", ".join(f'"{name}"' for name in NAMES)
    (tmp_path / "run.toml").write_text(
        f'[run]\ntitle = "four (invented)"\ncomponents = [{listed}]\n[pressure]\nstation = "100.0 ± 0.1 kPa"\n'
        '[thermometer]\nbias = "0.4 degC"\nrepeat = "0.2 degC"\n'
        '[density]\nbias = "0.0008 g/mL"\nrepeat = "0.001 g/mL"\n',
        encoding="utf-8",
    )
    rows = [
        f"C{k + 1},{t - 0.5:.1f},{t + 0.5:.1f},100,{d:.4f},20"
        for k, (t, d) in enumerate(zip(head, density, strict=True))
    ]
    table = "\n".join(["cut,head_start,head_end,mass,density,density_temp", *rows])
    (tmp_path / "cuts.csv").write_text(table + "\n", encoding="utf-8")
    found = assess(load_run(tmp_path / "run.toml"))
    estimate = np.array([[cut.composition[name].estimate for name in NAMES] for cut in found.cuts])
    low = np.array([[cut.composition[name].low for name in NAMES] for cut in found.cuts])
    high = np.array([[cut.composition[name].high for name in NAMES] for cut in found.cuts])
    np.testing.assert_allclose(estimate.sum(axis=1), 1.0, atol=1e-9)
    assert ((low <= TRUTH) & (high >= TRUTH)).mean() >= 0.9
