"""The course of a distillation: closed forms, and what it makes of simulated runs whose truth is known."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fractionkit.composition import correct
from fractionkit.composition.posterior import fit_evidence
from fractionkit.courses.column import Column
from fractionkit.courses.course import LN_REFLUX, LN_REFLUX_SPREAD, SHARPER, SIMPLE, Course
from fractionkit.courses.near import Near, Read, Told
from fractionkit.courses.stray import DEVIATION, SLIP, About, log_density
from fractionkit.mixture import Mixture
from fractionkit.sheets import load_run
from fractionkit.still import Charge, distil
from tests.proof.simulate import PLAIN, benches, readings

DEMO = Path(__file__).parents[2] / "data" / "demo_ternary"
ALPHA = np.array([3.6, 1.5, 1.0])  # against the heaviest
MASS = np.array([0.10, 0.25, 0.05, 0.20, 0.15])
TERNARY = ("carbon tetrachloride", "trichloroethylene", "tetrachloroethylene")
FOUR = ("dichloromethane", "chloroform", "trichloroethylene", "tetrachloroethylene")


def constant(n: int = 3) -> np.ndarray:
    """Coefficients of constant relative volatilities."""
    volatility = np.zeros((1 + (n - 1) * (n + 2) // 2, n - 1))
    volatility[0] = np.log(ALPHA[-n:-1])
    return volatility


def course(residue: float = 0.125, order: tuple[int, ...] = (0, 1, 2)) -> Course:
    """Of a mixture of constant relative volatilities, its residue weighed."""
    left = float(np.log(residue / MASS.sum()))
    return Course(order, np.array([85.0, 119.0, 154.0]), constant(), np.full(3, 0.1), MASS, left, 0.05, True)


def numbers(made: Course, charge: np.ndarray, stages: float, reflux: float = 3.0) -> np.ndarray:
    """Of the course that begins with a charge."""
    v = np.zeros((len(charge), made.size))
    v[:, :2] = made.angles(charge)
    v[:, made.n] = (SIMPLE + np.log(np.maximum(np.expm1(stages - 1.0), 1e-12))) / SHARPER
    v[:, made.n + 1] = (np.log(reflux) - LN_REFLUX) / LN_REFLUX_SPREAD
    return v


def still_equation(made: Course, charge: np.ndarray, stages: float, reflux: float) -> np.ndarray:
    """ln(n/n_0) / alpha^N of every component after each cut (K, M, n): one number by Rayleigh's and Fenske's equations.

    Not a number where hardly anything of a component is left.
    """
    w = made.vessels(numbers(made, charge, stages, reflux))
    total = MASS.sum() + 0.125
    pot = charge * total - np.cumsum(MASS[:, None, None] * w[:-1], axis=0)
    left = pot / (charge * total)
    return np.where(left > 1e-6, np.log(np.maximum(left, 1e-6)) / ALPHA**stages, np.nan)


def columns(stages: float, count: int = 1) -> Column:
    return Column(np.full(count, stages), constant(), np.zeros((3, 3, count)))


@pytest.mark.parametrize("stages", [1.0, 2.0, 3.5, 7.0])
def test_total_reflux_is_fenske_s_equation(stages: float) -> None:
    x = np.array([[0.2], [0.3], [0.5]])
    rates = columns(stages).rates(x, None, np.ones(1), 3)
    assert np.allclose(rates[:, 0], ALPHA**stages / ALPHA[0] ** stages, rtol=1e-9)


@pytest.mark.parametrize(("stages", "reflux"), [(3, 2.0), (5, 1.5), (8, 4.0)])
def test_column_steps_down_from_its_distillate(stages: int, reflux: float) -> None:
    """Equilibrium, operating line, equilibrium, ... written out for one distillate: the column finds it from the pot."""
    top = vapour = np.array([0.90, 0.09, 0.01])
    for _ in range(stages):
        liquid = vapour / ALPHA
        liquid /= liquid.sum()
        vapour = (reflux * liquid + top) / (reflux + 1.0)
    rates = columns(float(stages)).rates(liquid[:, None], None, np.array([reflux / (reflux + 1.0)]), 60)[:, 0]
    assert np.allclose(rates, top / liquid / (top / liquid).max(), rtol=1e-3)


def test_errors_of_activity_are_margules_s() -> None:
    """ln gamma_1 = A x_2^2 and ln gamma_2 = A x_1^2 of a pair: ln alpha changes by A (x_2^2 - x_1^2) = A (x_2 - x_1)."""
    wrong = np.zeros((2, 2, 1))
    wrong[0, 1] = wrong[1, 0] = 0.3
    x = np.array([[0.2], [0.8]])
    found = Column(np.ones(1), constant(2), wrong)._ln_alpha(x)
    assert np.allclose(found[:, 0], [np.log(1.5) + 0.3 * (0.8**2 - 0.2**2), 0.0])


def test_constant_volatilities_are_followed_exactly() -> None:
    """Rayleigh's equation in its closed form, ln(n_i/n_i0)/alpha_i the same for all, and the masses of the cuts add up."""
    charge = np.array([[0.5, 0.3, 0.2], [0.1, 0.2, 0.7], [0.34, 0.33, 0.33]])
    for stages, reflux in ((1.0, 3.0), (2.0, 1e9)):
        found = still_equation(course(), charge, stages, reflux)
        heaviest = found[..., -1:]
        assert np.isfinite(found).sum() > 30
        assert np.nanmax(np.abs(found / heaviest - 1.0)) < 1e-4
    w = course().vessels(numbers(course(), charge, 1.0))
    weighed = np.append(MASS, 0.125)
    assert np.allclose(np.einsum("v,vmn->mn", weighed, w) / weighed.sum(), charge, atol=1e-7)


def test_courses_are_those_of_the_still() -> None:
    """Against the room that distils on its own grid of moments: sharp fronts, finite reflux, the project's volatilities."""
    mixture = Mixture(TERNARY)
    charge, stages, reflux = np.array([0.3, 0.45, 0.25]), 6.0, 3.0
    whole = distil(mixture, Charge(charge[None], 1.0, "mass").moles(mixture.molar_mass), np.array([stages]),
                   np.array([reflux]), np.array([98e3]), distilled=np.array([0.9]), tolerance=1e-4)  # fmt: skip
    total = float(whole.distilled_mass[0, -1])
    cuts = whole.cut_at_mass(total * np.arange(1, 11)[None] / 10)
    made = Course.of(mixture, 98e3, (0, 1, 2), np.append(cuts.mass[0], 1.0 - total), residue=True)
    w = made.vessels(numbers(made, charge[None], stages, reflux))[:-1, 0]
    assert np.abs(w - cuts.w[0]).max() < 0.01


def test_sheet_order_does_not_matter() -> None:
    charge = np.array([[0.5, 0.3, 0.2]])
    straight = course().vessels(numbers(course(), charge, 3.0))
    turned = course(order=(2, 0, 1))
    assert np.allclose(turned.vessels(numbers(turned, charge, 3.0))[..., [2, 0, 1]], straight)


def test_every_charge_alike() -> None:
    """The prior of the charge is flat: Dirichlet's closed forms, mean 1/3 and variance 1/18, on a grid of its angles."""
    made = course()
    edge = (np.arange(400) + 0.5) * 0.5 * np.pi / 400
    v = np.zeros((160000, made.size))
    v[:, :2] = np.stack(np.meshgrid(edge, edge), axis=-1).reshape(-1, 2)
    weight = np.exp(made.log_prior(v))
    charge = made._charge(v)
    inner = charge.min(axis=1) > 1e-3
    assert np.allclose(made.angles(charge[inner]), v[inner, :2], atol=1e-5)
    mean = weight @ charge / weight.sum()
    assert np.allclose(mean, 1.0 / 3.0, atol=1e-4)
    assert np.allclose(weight @ (charge - mean) ** 2 / weight.sum(), 1.0 / 18.0, atol=1e-4)


@pytest.mark.parametrize("n", [2, 3, 5])
def test_what_strays_is_a_composition(n: int) -> None:
    """About its course, and as far off in mass fractions as is said: STRAY sqrt(w (1 - w) + EDGE), amid the simplex."""
    rng = np.random.default_rng(1)
    w = rng.dirichlet(np.full(n, 5.0), 20)
    about = About.of(w)
    assert np.allclose(about.fractions(np.zeros((20, n - 1))), w)
    off = rng.logistic(size=(4000, 20, n - 1))
    drawn = about.fractions(off)
    assert np.allclose(drawn.sum(axis=2), 1.0)
    spread = 0.03 * np.sqrt(w[:, 0] * (1.0 - w[:, 0]) + 0.003)
    assert np.allclose(drawn[..., 0].std(axis=0), spread, rtol=0.1)
    assert off.std() == pytest.approx(DEVIATION, rel=0.02)


def test_density_of_what_strays() -> None:
    """The logistic distribution's, from scipy."""
    from scipy.stats import logistic

    off = np.array([[-40.0, 0.3], [2.0, 700.0], [0.0, 0.0]])
    assert np.allclose(log_density(off), logistic.logpdf(off).sum(axis=1))


def told(rng: np.random.Generator, vessels: int = 3, kinds: int = 2, errors: int = 4) -> Told:
    """Readings with numbers at random, one course."""
    off, slope = rng.normal(size=(vessels, 1, kinds)), rng.normal(size=(vessels, 1, kinds, errors))
    variance, stray = rng.uniform(0.5, 2.0, (vessels, 1, kinds)), rng.normal(size=(vessels, 1, kinds, 2))
    covariance = DEVIATION**2 * stray @ stray.swapaxes(-1, -2) + variance[..., None] * np.eye(kinds)
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, np.concatenate([slope, off[..., None]], axis=-1))
    log_root = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1) - 0.5 * np.log(variance).sum(-1)
    read = Read(off, slope, variance, np.zeros((vessels, 1)))
    return Told(rng.dirichlet(np.ones(3), (vessels, 1)), read, stray, root, white, log_root)


def test_errors_are_integrated_out() -> None:
    """Against one normal distribution of all readings written out (scipy), all vessels following their course."""
    from scipy.stats import multivariate_normal

    made = told(np.random.default_rng(5))
    near = Near.of(made, np.zeros(4), np.full(3, -1e3))
    slope, off = made.read.slope[:, 0].reshape(6, 4), made.read.off[:, 0].ravel()
    covariance = slope @ slope.T
    for v in range(3):
        rows = slice(2 * v, 2 * v + 2)
        covariance[rows, rows] += made.root[v, 0] @ made.root[v, 0].T
    whole = multivariate_normal(np.zeros(6), covariance).logpdf(off)
    constant = 0.5 * np.log(2.0 * np.pi * made.read.variance).sum()  # likelihoods are 1 at the most
    assert near.log_evidence[0] == pytest.approx(whole + constant + 3.0 * np.log1p(-SLIP))
    gain = slope.T @ np.linalg.inv(covariance)
    assert np.allclose(near.mean[0], -gain @ off)


def test_a_vessel_that_lies_elsewhere_is_let_go() -> None:
    made = told(np.random.default_rng(6))
    far = replace(made, white=made.white.copy())
    far.white[1, ..., -1] += 30.0
    near = Near.of(far, np.zeros(4), np.full(3, -5.0))
    assert near.follows[1, 0] < 1e-6 < 0.5 < near.follows[[0, 2], 0].min()


@pytest.mark.parametrize(("names", "narrower"), [(TERNARY, 0.75), (FOUR, 0.5)])
def test_simulated_runs(names: tuple[str, ...], narrower: float) -> None:
    """Truth by another model of the liquid: intervals of cuts along a course hold it, and are much narrower.

    Were the prior wrong (cuts crowded to the ends of the ridge, as an order alone does, or strays taken too small) whole
    runs would miss: an order alone held 72 % in three components.
    """
    mixture = Mixture(names)
    held, ratio = [], []
    for bench in benches(names, 4 if len(names) == 3 else 2, 4321):
        evidence = readings(bench, PLAIN, 4321)
        balance = evidence.balance
        assert balance is not None
        free = fit_evidence(mixture, replace(evidence, balance=replace(balance, ordered=False)))
        found = fit_evidence(mixture, evidence)
        held.append(((found.low <= bench.w + 1e-9) & (bench.w <= found.high + 1e-9)).mean())
        ratio.append((found.high - found.low).mean() / (free.high - free.low).mean())
        assert np.allclose(found.draws.sum(axis=2), 1.0)
    assert np.mean(held) > 0.9
    assert np.mean(ratio) < narrower


def test_one_cut_that_follows_no_course() -> None:
    """A cut of the last component poured among the first: it keeps what its own readings say, and the others their course."""
    mixture = Mixture(TERNARY)
    bench = benches(TERNARY, 1, 4321)[0]
    evidence = readings(bench, PLAIN, 4321)
    plain = fit_evidence(mixture, evidence)
    pure = float(mixture.density(np.array([0.0, 0.0, 1.0]), evidence.density_temperature[2]))
    head = evidence.head_start.value.copy()
    head[2] = np.nan
    density = evidence.density.value.copy()
    density[2] = pure
    spilt = replace(
        evidence,
        density=replace(evidence.density, value=density),
        head_start=replace(evidence.head_start, value=head),
        head_end=replace(evidence.head_end, value=np.where(np.isnan(head), np.nan, evidence.head_end.value)),
    )
    found = fit_evidence(mixture, spilt)
    assert not found.link_failed
    assert found.mean[2, 2] > 0.9
    others = [k for k in range(len(bench.mass)) if k != 2]
    assert np.abs(found.mean - plain.mean)[others].max() < 0.05
    assert (found.high - found.low)[others].mean() < 1.5 * (plain.high - plain.low)[others].mean()


def test_a_second_laboratory_s_result_goes_along_the_course(tmp_path: Path) -> None:
    """It feels no shared error at all; what it says of its cut is kept."""
    shutil.copytree(DEMO, tmp_path / "run")
    sheet = tmp_path / "run" / "run.toml"
    added = '\n[[result]]\ncut = "C5"\ncomponent = "chloroform"\nfraction = "31 ± 1 wt%"\n'
    sheet.write_text(sheet.read_text(encoding="utf-8") + added, encoding="utf-8")
    run = load_run(sheet)
    mixture = Mixture(run.components)
    found = fit_evidence(mixture, correct(run, mixture).evidence)
    assert 0.29 < found.low[4, 0] < found.mean[4, 0] < found.high[4, 0] < 0.33


@pytest.mark.parametrize("name", ["demo_binary", "demo_ternary"])
def test_pot_temperatures_of_a_sheet_are_taken_along(name: str, tmp_path: Path) -> None:
    """Readings at the bubble point of what the pot held, taken from the run's own answer, change no cut beyond its interval."""
    shutil.copytree(DEMO.parent / name, tmp_path / "run")
    run = load_run(tmp_path / "run" / "run.toml")
    mixture = Mixture(run.components)
    plain = correct(run, mixture).evidence
    before = fit_evidence(mixture, plain)
    held = before.mean * run.cuts.mass[:, None]
    after = held[::-1].cumsum(axis=0)[::-1][-2:]  # what came over later is what the pot held at the least
    boiling = mixture.bubble_point(mixture.mole_fractions(after / after.sum(axis=1, keepdims=True)), plain.pressure)[0]
    read = np.full(len(run.cuts.names), np.nan)
    read[-3:-1] = boiling
    read[-1] = boiling[-1] + 0.3  # the residue alone, which has a reading of its own
    found = fit_evidence(mixture, correct(replace(run, cuts=replace(run.cuts, pot_temperature=read)), mixture).evidence)
    assert np.all(found.low <= found.high)
    assert np.all((found.mean > before.low - 0.1) & (found.mean < before.high + 0.1))
