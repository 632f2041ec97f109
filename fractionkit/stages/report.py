"""From weighted samples to spans, curves and flags."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fractionkit.inference.summary import pick_samples
from fractionkit.inference.tail import chi_square_tail
from fractionkit.quantities import COVERAGE_95, Estimate, Quantity
from fractionkit.stages.carried import with_carried
from fractionkit.stages.fenske import MOST, key_pair, total_reflux_stages
from fractionkit.stages.infer import Sampled, linear_errors
from fractionkit.stages.lay import Fitting, stages_of
from fractionkit.stages.model import Course95, CutOfStill, FittedStill, StillFit
from fractionkit.stages.space import MOST_STAGES, Scenarios
from fractionkit.stages.words import Told, flags

Array = NDArray[np.float64]

DOUBTFUL = 0.01
EDGE = 0.1
"""Part of an interval's width within which an end is taken to the limit: truths hug limits."""

TOLD = 0.02
"""Mass fraction of both components from which a separation is read off."""

TALL = 0.95 * MOST_STAGES
DRAWN = 200
WORST = 8
DRAWS = 256


def report(laid: Fitting, sampled: Sampled, stated: Quantity | None) -> StillFit:
    """Everything that is said of a fitted run."""
    s = laid.space.scenarios(sampled.v)
    weights = sampled.weights
    chance, freedom, stretch = _goodness(laid, sampled)
    stages = stretched(weighted_span(s.stages, weights), stretch, 1.0)
    holdup = stretched(weighted_span(s.holdup, weights), stretch, 0.0)
    mass = s.holdup * s.mass
    equivalent = weighted_span(_equivalent(laid, sampled), weights)
    cuts = _cuts(laid, sampled)
    reflux = weighted_span(s.reflux, weights)
    known = laid.space.reflux.known
    typed = None if stated is None else _typed(stated)
    told = Told(
        run=laid.run, components=laid.mixture.names, stages=stages, reflux=reflux, known=known, stated=typed,
        chance=chance, cuts=cuts, tallest=TALL, total_reflux=equivalent, holdup=holdup,
    )  # fmt: skip
    return StillFit(
        title=laid.run.title,
        date=laid.run.date.isoformat() if laid.run.date else None,
        source=str(laid.run.source),
        components=laid.mixture.names,
        stages=stages,
        holdup=holdup,
        holdup_mass=stretched(weighted_span(mass, weights), stretch, 0.0),
        reflux=reflux,
        reflux_known=known,
        total_reflux=equivalent,
        alternatives=() if known else _alternatives(s, weights),
        stated=typed,
        chance=chance,
        freedom=freedom,
        rows=_worst(laid, sampled),
        cuts=cuts,
        course=_course(laid, sampled),
        flags=flags(told),
        effective=sampled.effective,
        fitted=_fitted(laid, sampled),
    )


def weighted_span(values: Array, weights: Array) -> Estimate:
    """Mean and central 95 % interval of weighted values (S,)."""
    order = np.argsort(values, kind="stable")
    cumulative = np.cumsum(weights[order]) - 0.5 * weights[order]
    low, high = np.interp([0.025, 0.975], cumulative, values[order])
    return Estimate(float(weights @ values), float(low), float(high))


def stretched(span: Estimate, factor: float, limit: float) -> Estimate:
    """The interval ``factor`` times as wide, and to the limit where it nearly reaches it."""
    low = span.estimate - factor * (span.estimate - span.low)
    high = span.estimate + factor * (span.high - span.estimate)
    if low - limit < EDGE * (high - low):
        low = limit
    return Estimate(span.estimate, max(low, limit), high)


def _typed(quantity: Quantity) -> Estimate:
    known = stages_of(quantity)
    value, u = float(known.value or 1.0), known.u
    return Estimate(value, max(value - COVERAGE_95 * u, 1.0), value + COVERAGE_95 * u)


def _goodness(laid: Fitting, sampled: Sampled) -> tuple[float, int, float]:
    """Probability of a misfit as large, degrees of freedom, and by how much intervals are stretched for it.

    The mean misfit of a posterior exceeds the least by the number of parameters.
    """
    least = max(float(sampled.weights @ sampled.misfit) - sampled.v.shape[1], 0.0)
    freedom = max(laid.rows.count - laid.mixture.n, 1)
    chance = chi_square_tail(freedom, least)
    # Birge's ratio, where the scatter is larger than the stated uncertainties explain
    return chance, freedom, float(np.sqrt(least / freedom)) if chance < DOUBTFUL else 1.0


def _worst(laid: Fitting, sampled: Sampled) -> tuple[tuple[str, float], ...]:
    spread = np.sqrt((sampled.laid.moves**2).sum(axis=-1) + sampled.laid.variance)
    deviates = sampled.weights @ (sampled.laid.residual / spread)
    order = np.argsort(-np.abs(deviates), kind="stable")[:WORST]
    return tuple((laid.rows.labels[k], float(deviates[k])) for k in order.tolist())


def _equivalent(laid: Fitting, sampled: Sampled) -> Array:
    """Stages at total reflux (S,) that separate as every scenario does in the middle of the run."""
    ends = np.concatenate([[0.0], laid.bench.ends])
    middle = int(np.searchsorted(ends, 0.5 * ends[-1], side="right")) - 1
    middle = min(max(middle, 0), len(laid.bench.ends) - 1)
    s = laid.space.scenarios(sampled.v)
    so_far = (sampled.run.w[:, :middle] * laid.mass[:middle, None]).sum(axis=1)
    so_far = so_far + 0.5 * laid.mass[middle] * sampled.run.w[:, middle]
    pot = np.maximum(s.w * s.mass[:, None] - so_far, 1e-12)
    head = sampled.run.w[:, middle]
    return _stages_between(laid, pot / pot.sum(axis=1, keepdims=True), head)


def _stages_between(laid: Fitting, pot: Array, head: Array) -> Array:
    """Stages at total reflux (D,) between mass fractions (D, n)."""
    mixture, pressure = laid.mixture, laid.space.pressure
    x, y = mixture.mole_fractions(pot), mixture.mole_fractions(head)
    light, heavy = key_pair(mixture.relative_volatility(x.mean(axis=0), pressure), x.mean(axis=0), y.mean(axis=0))
    nominal = laid.space.fitted.take(np.zeros(1, dtype=np.int64))
    return total_reflux_stages(nominal, x[:, None], y[:, None], pressure, light, heavy)[:, 0]


def _cuts(laid: Fitting, sampled: Sampled) -> tuple[CutOfStill, ...]:
    posterior, mass = laid.posterior, laid.mass
    step = max(len(posterior.draws) // DRAWN, 1)
    draws = posterior.draws[::step]
    left = None if posterior.residue is None else posterior.residue[::step]
    amounts = draws * mass[:, None]
    charge = laid.space.scenarios(sampled.v).w
    w = with_carried(sampled.run.w, charge, np.random.default_rng(20241125))
    found = []
    for k, name in enumerate(laid.run.cuts.names):
        predicted = tuple(weighted_span(w[:, k, i], sampled.weights) for i in range(laid.mixture.n))
        assessed = tuple(
            Estimate(float(posterior.mean[k, i]), float(posterior.low[k, i]), float(posterior.high[k, i]))
            for i in range(laid.mixture.n)
        )
        total = None
        if left is not None and laid.run.residue is not None and laid.run.residue.mass is not None:
            rest = left * laid.run.residue.mass.value + amounts[:, k + 1 :].sum(axis=1) + 0.5 * amounts[:, k]
            pot = rest / rest.sum(axis=1, keepdims=True)
            if _tells(pot, draws[:, k]):
                stages = np.clip(_stages_between(laid, pot, draws[:, k]), -1.0, MOST)
                total = weighted_span(stages, np.full(len(stages), 1.0 / len(stages)))
        found.append(CutOfStill(name, float(mass[k]), float(laid.bench.ends[k]), predicted, assessed, total))
    return tuple(found)


def _tells(pot: Array, head: Array) -> bool:
    """Whether two components are there in amounts that the readings can tell, in the pot (D, n) and in the cut."""
    both = np.minimum(pot.mean(axis=0), head.mean(axis=0))
    return bool(np.sort(both)[-2] > TOLD)


def _alternatives(s: Scenarios, weights: Array) -> tuple[tuple[float, float], ...]:
    """Pairs of reflux ratio and stages along which the run says little, from low to high reflux."""
    x, y = np.log(s.reflux), np.log(s.stages)
    mean_x, mean_y = weights @ x, weights @ y
    variance = weights @ (x - mean_x) ** 2
    slope = (weights @ ((x - mean_x) * (y - mean_y))) / variance if variance > 0.0 else 0.0
    span = weighted_span(x, weights)
    at = np.array([span.low, mean_x, span.high])
    return tuple((float(np.exp(a)), float(max(np.exp(mean_y + slope * (a - mean_x)), 1.0))) for a in at)


def _course(laid: Fitting, sampled: Sampled) -> Course95:
    mean, _ = linear_errors(sampled.laid)
    here, heads = laid.rows.at_instrument, len(laid.rows.heads)
    # what the thermometer shows beyond the truth in each scenario, the same all along
    error = np.zeros(len(mean))
    if heads:
        error = (sampled.laid.moves[:, :heads, here].mean(axis=1) * mean[:, here]).sum(axis=1)
    head = _bands(sampled.run.along_head + error[:, None], sampled.weights)
    w = np.stack([_bands(sampled.run.along_w[..., i], sampled.weights) for i in range(laid.mixture.n)], axis=-1)
    evidence = laid.corrected.evidence
    ends = np.concatenate([[0.0], laid.bench.ends])
    mass, value = [], []
    for is_end, k in [(0, 0), *laid.rows.heads]:
        kind = evidence.head_end if is_end else evidence.head_start
        if np.isfinite(kind.value[k]):
            mass.append(ends[k + is_end])
            value.append(kind.value[k])
    return Course95(laid.bench.along, head, w, np.array(mass), np.array(value))


def _bands(values: Array, weights: Array) -> Array:
    """Low, median and high (3, P) of weighted curves (S, P)."""
    order = np.argsort(values, axis=0)
    ordered = np.take_along_axis(values, order, axis=0)
    cumulative = np.cumsum(weights[order], axis=0)
    rows = np.stack([(cumulative < q).sum(axis=0) for q in (0.025, 0.5, 0.975)])
    return np.take_along_axis(ordered, np.minimum(rows, len(values) - 1), axis=0)


def _fitted(laid: Fitting, sampled: Sampled) -> FittedStill:
    """What a plan takes: equally weighted draws and their moments."""
    rng = np.random.default_rng(20240603)
    picked = pick_samples(sampled.weights, DRAWS, rng)
    s = laid.space.scenarios(sampled.v[picked])
    feed = s.w.mean(axis=0)
    density = float(laid.mixture.density(feed, 293.15))
    volume = s.holdup * s.mass / density
    return FittedStill(
        stages=float(s.stages.mean()),
        stages_u=float(s.stages.std()),
        holdup=float(s.holdup.mean()),
        holdup_u=float(s.holdup.std()),
        holdup_volume=float(volume.mean()),
        holdup_volume_u=float(volume.std()),
        reflux=float(np.exp(np.log(np.maximum(s.reflux, 1e-9)).mean())),
        reflux_known=laid.space.reflux.known,
        stages_draws=s.stages,
        holdup_draws=s.holdup,
        reflux_draws=s.reflux,
    )
