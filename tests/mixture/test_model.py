"""Public names, names of substances, bad input."""

import subprocess
import sys

import numpy as np
import pytest

import fractionkit.mixture
from fractionkit.errors import InputError, UnknownSubstanceError
from fractionkit.mixture import Mixture


def test_exported_names():
    assert fractionkit.mixture.__all__ == [
        "ActivityPair",
        "AzeotropePoint",
        "ExcessVolume",
        "Mixture",
        "ModelError",
        "activity_pairs",
        "excess_volumes",
    ]


def test_importing_the_room_needs_numpy_only():
    code = "import sys, fractionkit.mixture as m; m.Mixture(['chloroform', 'methanol']).bubble_point([.5, .5], 1e5); "
    code += "print([n for n in ('scipy', 'pandas', 'thermo', 'chemicals', 'matplotlib') if n in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_names_become_canonical():
    mix = Mixture(["67-66-3", "TETRACHLOROETHYLENE"])
    assert mix.names == ("chloroform", "tetrachloroethylene")
    assert mix.n == 2
    assert mix.molar_mass == pytest.approx([0.11938, 0.16583], abs=2e-5)


@pytest.mark.parametrize(
    "names, error, words",
    [
        (["chloroform", "chlorofrom oil"], UnknownSubstanceError, "chlorofrom oil"),
        (["chloroform", "67-66-3"], InputError, "once"),
        ([], InputError, "one or more"),
        ("chloroform", InputError, "list"),
    ],
)
def test_bad_names(names, error, words):
    with pytest.raises(error, match=words):
        Mixture(names)


def test_bad_arrays():
    mix = Mixture(["chloroform", "methanol"])
    with pytest.raises(InputError, match=r"sum of 0\.9"):
        mix.bubble_point([0.5, 0.4], 1e5)
    with pytest.raises(InputError, match="not negative"):
        mix.bubble_point([1.5, -0.5], 1e5)
    with pytest.raises(InputError, match="not negative"):
        mix.density([np.nan, 1.0], 293.0)
    with pytest.raises(InputError, match="2 components"):
        mix.dew_point([1.0], 1e5)
    with pytest.raises(InputError, match="pressures"):
        mix.bubble_point([0.5, 0.5], 0.0)
    with pytest.raises(InputError, match="temperatures"):
        mix.ln_psat(-1.0)
    with pytest.raises(InputError, match="different components"):
        mix.azeotrope(0, 0, 1e5)
    with pytest.raises(InputError, match="one shift"):
        mix.perturbed([1.0])
    with pytest.raises(InputError, match="activity"):
        Mixture(["chloroform"], activity="margules")


def test_mole_and_mass_fractions_are_inverse():
    mix = Mixture(["chloroform", "methanol", "water"])
    w = np.array([[0.2, 0.3, 0.5], [1.0, 0.0, 0.0]])
    assert mix.mass_fractions(mix.mole_fractions(w)) == pytest.approx(w, abs=1e-14)


def test_sources_of_the_pairs():
    rows = Mixture(["chloroform", "methanol"]).pair_sources()
    assert rows[0][:2] == ("chloroform", "methanol")
    assert "published NRTL" in rows[0][2]


def test_azeotrope_of_a_pair_without_one():
    assert Mixture(["trichloroethylene", "tetrachloroethylene"]).azeotrope(0, 1, 101325.0) is None
    assert Mixture(["trichloroethylene", "tetrachloroethylene"]).immiscible_boiling_point(0, 1, 101325.0) is None


def test_relative_volatility_of_an_ideal_pair():
    mix = Mixture(["chloroform", "toluene"], activity="ideal")
    T, y = mix.bubble_point([0.4, 0.6], 101325.0)
    alpha = mix.relative_volatility([0.4, 0.6], 101325.0)
    assert alpha[0] == pytest.approx(np.exp(mix.ln_psat(T)[0] - mix.ln_psat(T)[1]), rel=1e-12)
    assert alpha[0] == pytest.approx((y[0] / 0.4) / (y[1] / 0.6), rel=1e-12)
