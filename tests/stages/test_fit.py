"""The still fitted to runs whose stages and hold-up are known; a larger study is ``python -m tests.stages.study``."""

from dataclasses import replace

import numpy as np
import pytest

from fractionkit.composition import correct, fit_evidence
from fractionkit.errors import ConvergenceError, InputError
from fractionkit.mixture import Mixture
from fractionkit.quantities import Estimate
from fractionkit.sheets.model import ColumnEntry
from fractionkit.stages import fit
from fractionkit.stages.model import CutOfStill
from fractionkit.stages.tie import tie
from fractionkit.stages.words import Told, flags
from tests.stages.study import PAIR, TERNARY
from tests.stages.worlds import number, worlds


@pytest.fixture(scope="module")
def made():
    return worlds(PAIR, [1.0, 5.0], [0.0, 0.05], 41)


@pytest.fixture(scope="module")
def fits(made):
    return [fit(world.run, reflux=number(world.reflux, 0.2 * world.reflux)) for world in made]


def test_intervals_hold_stages_and_holdup(made, fits):
    """Two runs; that intervals hold the truth in a stated part of many runs is for the study."""
    for world, found in zip(made, fits, strict=True):
        assert found.stages.low <= world.stages <= found.stages.high
        assert found.holdup.low <= world.holdup <= found.holdup.high
        assert found.chance > 0.01
        assert not found.contradicted
        assert found.effective >= 25.0


def test_intervals_tell_the_stills_apart(fits):
    assert fits[0].stages.high < fits[1].stages.low


def test_the_curve_follows_the_readings(fits):
    for found in fits:
        course = found.course
        inside = course.read_mass > course.mass[0]
        middle = np.interp(course.read_mass[inside], course.mass, course.head[1])
        # plain thermometer: 0.2 K fresh, 0.2 K steps; sharp fronts pass within a little mass
        assert np.median(np.abs(middle - course.read_head[inside])) < 0.4


def test_what_a_plan_takes_is_what_was_found(fits):
    taken = fits[1].fitted
    assert taken.stages == pytest.approx(fits[1].stages.estimate, abs=0.1)
    assert taken.stages_draws.shape == taken.holdup_draws.shape == (256,)
    assert taken.stages_u == pytest.approx(taken.stages_draws.std())
    # 1.4 kg of solvents of 1.46 to 1.62 g/mL, so a mol% of the charge is about 9 mL
    assert taken.holdup_volume == pytest.approx(taken.holdup * 1.4 / 1540.0, rel=0.1)


def test_a_mixed_up_cut_is_noticed(made):
    run = made[1].run
    order = [0, 1, 6, 3, 4, 5, 2, 7]
    cuts = replace(run.cuts, density=run.cuts.density[order])
    with pytest.raises(ConvergenceError, match=r"at odds|do not go by one number of stages"):
        fit(replace(run, cuts=cuts), reflux=number(made[1].reflux, 0.2))


def test_unknown_reflux_says_what_is_known_best(made):
    found = fit(made[1].run)
    assert not found.reflux_known
    assert found.stages.low <= 5.0 <= found.stages.high
    assert found.reflux.low <= made[1].reflux <= found.reflux.high
    low, _, high = found.alternatives
    assert low[0] < high[0]
    assert low[1] > high[1]  # more stages explain the same separation at a lower reflux
    assert any(flag.code == "reflux_unknown" for flag in found.flags)


def _told(**changed):
    span = Estimate(3.0, 2.7, 3.3)
    cut = CutOfStill("C3", 0.1, 0.3, (span, span), (span, span), None)
    usual = {
        "run": None, "components": ("a", "b"), "stages": span, "reflux": span, "known": True, "stated": None,
        "chance": 0.5, "cuts": (cut,), "tallest": 28.0, "total_reflux": span, "holdup": span,
    }  # fmt: skip
    return [flag.code for flag in flags(Told(**{**usual, **changed}))]


def test_flags_say_what_is_wrong():
    cut = CutOfStill("C3", 0.1, 0.3, (), (), Estimate(6.0, 5.2, 7.0))
    assert _told() == []
    assert _told(stated=Estimate(6.0, 5.0, 7.0)) == ["fewer_than_stated"]
    assert _told(stated=Estimate(1.5, 1.0, 2.0)) == ["more_than_stated"]
    assert _told(cuts=(cut,)) == ["beyond_total_reflux"]
    assert _told(cuts=(replace(cut, total_reflux=Estimate(0.3, 0.1, 0.6)),)) == ["worse_than_one"]
    assert _told(stages=Estimate(20.0, 9.0, 29.5)) == ["sharper_than_told"]
    assert _told(chance=1e-6) == ["no_still"]
    assert _told(chance=1e-3) == ["poor_fit"]
    assert _told(known=False) == ["reflux_unknown"]


def test_masses_that_lack_are_asked_for(made, monkeypatch):
    run = made[0].run
    with pytest.raises(InputError, match="mass of the charge or of the residue"):
        fit(replace(run, charge=None, residue=None))
    monkeypatch.setattr("fractionkit.stages.lay.LONGEST", 7)
    with pytest.raises(InputError, match="at most 7 cuts"):
        fit(run)
    monkeypatch.undo()
    nothing = np.full(len(run.cuts), np.nan)
    with pytest.raises(InputError, match="a mass of every cut"):
        fit(replace(run, cuts=replace(run.cuts, mass=nothing)))


def _tied(world, stages):
    run = replace(world.run, still=ColumnEntry(stages, number(world.reflux, 0.2 * world.reflux)))
    mixture = Mixture(run.components)
    corrected = correct(run, mixture)
    posterior = fit_evidence(mixture, corrected.evidence)
    return posterior, tie(run, mixture, corrected, posterior, run.cuts.mass)


def test_tied_cuts_hold_the_truth_in_narrower_intervals(made):
    world = made[1]
    alone, tied = _tied(world, number(5.0, 1.0))
    after = tied.posterior
    assert tied.used
    assert np.mean((after.low <= world.w) & (world.w <= after.high)) >= 0.85
    assert np.mean(after.high - after.low) < 0.85 * np.mean(alone.high - alone.low)
    np.testing.assert_allclose(after.draws.sum(axis=-1), 1.0, rtol=0, atol=1e-12)
    assert after.shared.theta.shape[1] == len(after.errors)


def test_the_shared_errors_of_a_draw_belong_to_its_compositions(made):
    """Given both, a density is off by no more than what is fresh in its reading: by what the sheet states of it."""
    world = made[1]
    corrected = correct(world.run, Mixture(world.run.components))
    _, tied = _tied(world, number(5.0, 1.0))
    after, density = tied.posterior, corrected.evidence.density
    cuts = slice(0, after.draws.shape[1])
    mixture, at = Mixture(world.run.components), corrected.evidence.density_temperature[cuts]
    moves = mixture.density_errors(after.draws, at)

    def left(theta):
        found = density.value[cuts] - mixture.density(after.draws, at)
        for name, size in density.shared.items():
            found = found - size[cuts] * theta[:, after.errors.index(name), None]
        for i, error in enumerate(mixture.model_errors):
            if error.kind in ("density", "excess_volume"):
                found = found - moves[..., i] * theta[:, after.errors.index(error.name), None]
        return found.std(axis=0)

    assert after.theta.shape == (len(after.draws), len(after.errors))
    assert np.all(left(after.theta) < 1.05 * density.repeat[cuts])
    others = np.random.default_rng(1).permutation(after.theta)
    assert left(others).mean() > 1.4 * left(after.theta).mean()


def test_pot_temperatures_tell_the_holdup_better():
    """What the pot holds is the charge less the cuts and what the column holds; ``tests.stages.study --pots`` runs many."""
    world = worlds(PAIR, [5.0], [0.0], 5, pots=True)[0]
    unread = np.full(len(world.run.cuts), np.nan)
    found = []
    for read in (unread, world.run.cuts.pot_temperature):
        run = replace(world.run, cuts=replace(world.run.cuts, pot_temperature=read))
        found.append(fit(run, reflux=number(world.reflux, 0.2 * world.reflux)))
    without, with_pot = found
    assert with_pot.holdup.low <= world.holdup <= with_pot.holdup.high
    assert with_pot.stages.low <= world.stages <= with_pot.stages.high
    assert with_pot.chance > 0.01
    assert with_pot.holdup.high < 0.85 * without.holdup.high


def test_a_still_that_cannot_have_made_the_run_is_left_out(made):
    alone, tied = _tied(made[1], number(1.0, 0.1))
    assert not tied.used
    assert tied.posterior is alone
    assert "left out" in tied.text


def test_ranges_and_changed_reflux_keep_the_still_out(made):
    world = made[0]
    cuts = replace(world.run.cuts, range_start=world.run.cuts.head_end)
    _, tied = _tied(replace(world, run=replace(world.run, cuts=cuts)), number(1.0))
    assert not tied.used
    assert "boiling ranges" in tied.text
    _, tied = _tied(replace(world, run=replace(world.run, ordered=False)), number(1.0))
    assert not tied.used
    assert "reflux was changed" in tied.text


def test_three_components_are_not_tied():
    world = worlds(TERNARY, [2.5], [0.0], 5)[0]
    _, tied = _tied(world, number(2.5, 0.5))
    assert not tied.used
    assert "three and more components" in tied.text
