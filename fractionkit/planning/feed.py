"""What is to be distilled, as joint draws: from a composition, from cuts of an assessed run, or from bottles."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import AtOddsError, Fault, InputError
from fractionkit.lots.material import Material, together
from fractionkit.planning.sampling import central, stratified, truncated
from fractionkit.quantities import COVERAGE_95, Estimate
from fractionkit.sheets.model import TargetEntry
from fractionkit.sheets.still_model import StillSheet

if TYPE_CHECKING:
    from fractionkit.assessment import Assessment

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Feed:
    """The charge of a plan in S joint draws.

    components : canonical names. w : (S, n) mass fractions; mass : (S,) kg. origin : where it comes from, in words.
    target : what is wanted. reading_bias, reading_bias_u : K by which the run showed the own thermometer to read high,
    and its standard uncertainty; None where no run was assessed. remarks : what the user must know of it.
    """

    components: tuple[str, ...]
    w: Array
    mass: Array
    origin: str
    target: TargetEntry
    reading_bias: float | None = None
    reading_bias_u: float = 0.0
    remarks: tuple[str, ...] = ()


def feed_of(sheet: StillSheet, count: int, rng: np.random.Generator) -> Feed:
    """Draw the feed that a sheet speaks of.

    Raises
    ------
    InputError
        for a feed that holds none of the target, cuts or bottles that do not exist, more mass than there is.
    AtOddsError
        where the run's readings are at odds, so that its cuts are not known.
    """
    if sheet.feed.run is not None:
        feed = _from_run(sheet, sheet.feed.run, count, rng)
    elif sheet.feed.bottles:
        feed = _from_bottles(sheet, count, rng)
    else:
        feed = _from_composition(sheet, count, rng)
    _check_target(sheet, feed)
    return feed


def _target(sheet: StillSheet) -> TargetEntry:
    if sheet.target is None:
        expected = (
            'what is wanted: [target] with component = "tetrachloroethylene", purity = "99 wt%"; the run has none'
        )
        raise InputError(Fault(None, expected, str(sheet.source), column="[target]"))
    return sheet.target


def _from_composition(sheet: StillSheet, count: int, rng: np.random.Generator) -> Feed:
    entry, names = sheet.feed, sheet.components
    assert entry.mass is not None
    shares = {name: share for name, share in entry.composition.items() if name != entry.rest}
    w = np.zeros((count, len(names)))
    z = stratified(count, len(shares) + 1, rng)
    for k, (name, share) in enumerate(shares.items()):
        w[:, names.index(name)] = truncated(share.value, share.u or 0.0, 0.0, 1.0, z[:, k])
    total = w.sum(axis=1)
    if entry.rest is not None:
        w /= np.maximum(total, 1.0)[:, None]
        w[:, names.index(entry.rest)] = np.maximum(1.0 - total, 0.0)
    else:
        w /= total[:, None]
    mass = truncated(entry.mass.value, entry.mass.u or 0.0, 0.0, np.inf, z[:, -1])
    exact = all(share.u is None for share in shares.values())
    remarks = ("The feed's composition is taken as exact: write it with ± where it is not.",) if exact else ()
    return Feed(names, w, mass, "the composition in the sheet", _target(sheet), remarks=remarks)


def _from_run(sheet: StillSheet, path: Path, count: int, rng: np.random.Generator) -> Feed:
    from fractionkit.assessment import assess  # imported here: few plans start from a run
    from fractionkit.sheets import load_run

    run = load_run(path)
    assessment = assess(run)
    if assessment.at_odds:
        raise AtOddsError(f"{run.source}: the readings of this run are at odds, so its cuts cannot be planned with")
    materials = _portion(sheet, assessment)
    target = sheet.target or run.target
    made = replace(sheet, target=target)
    w, mass = _mixed(made, materials, run.components, count, rng)
    thermometer = next((f for f in assessment.findings if "thermometer" in f.instrument), None)
    names = ", ".join(material.name for material in materials)
    return Feed(
        run.components,
        w,
        mass,
        f"{names} of {assessment.title}",
        _target(made),
        None if thermometer is None else thermometer.after.estimate,
        0.0 if thermometer is None else (thermometer.after.high - thermometer.after.low) / (2.0 * COVERAGE_95),
    )


def _portion(sheet: StillSheet, assessment: Assessment) -> tuple[Material, ...]:
    """The cuts named, or those that the assessment sends one way."""
    if sheet.feed.cuts:
        try:
            return tuple(assessment.material(cut) for cut in sheet.feed.cuts)
        except InputError as error:
            row = sheet.feed.rows.get("cuts")
            raise InputError(
                [Fault(f.value, f.expected, str(sheet.source), row, "[feed] cuts") for f in error.faults]
            ) from error
    portion = sheet.feed.portion or "recycle"
    found = assessment.portion(portion)
    if not found:
        ways = ", ".join(f"{cut.name} {cut.decision}" for cut in assessment.cuts[:12])
        expected = f"a portion that some weighed cut of the run belongs to ({ways})"
        raise InputError(Fault(portion, expected, str(sheet.source), sheet.feed.rows.get("portion"), "[feed] portion"))
    return found


def _from_bottles(sheet: StillSheet, count: int, rng: np.random.Generator) -> Feed:
    from fractionkit.stock import open_stock  # imported here: few plans start from the shelf

    with open_stock(sheet.feed.stock, write=False) as stock:
        materials = stock.materials(sheet.feed.bottles)
    components = tuple(dict.fromkeys(name for material in materials for name in material.components))
    w, mass = _mixed(sheet, materials, components, count, rng)
    return Feed(components, w, mass, f"bottles {', '.join(sheet.feed.bottles)}", _target(sheet))


def _mixed(
    sheet: StillSheet,
    materials: tuple[Material, ...],
    components: tuple[str, ...],
    count: int,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Mass fractions (S, n) and mass (S,) of the materials put together, or of so much of that mixture as is asked for."""
    draws = together(materials, components, count)
    z = stratified(count, len(materials) + 1, rng)
    each = np.array([material.mass for material in materials])
    masses = np.maximum(each + z[:, :-1] * np.array([material.mass_u for material in materials]), 0.5 * each)
    mass = masses.sum(axis=1)
    w = (masses[:, :, None] * draws).sum(axis=1) / mass[:, None]
    wanted = sheet.feed.mass
    if wanted is None:
        return w, mass
    if wanted.value > mass.mean() * 1.001:
        expected = f"at most the {1e3 * mass.mean():.0f} g that there are"
        raise InputError(Fault(wanted.text, expected, str(sheet.source), sheet.feed.rows.get("mass"), "[feed] mass"))
    return w, truncated(wanted.value, wanted.u or 0.0, 0.0, np.inf, z[:, -1])


def _check_target(sheet: StillSheet, feed: Feed) -> None:
    target = feed.target
    if target.component not in feed.components:
        expected = f"one of the feed's components: {', '.join(feed.components)}"
        raise InputError(Fault(target.component, expected, str(sheet.source), column="[target] component"))
    if not np.any(feed.w[:, feed.components.index(target.component)] > 0.0):
        expected = f"a component that the feed holds; it holds no {target.component}"
        raise InputError(Fault(target.component, expected, str(sheet.source), column="[target] component"))


def shares(feed: Feed) -> dict[str, Estimate]:
    """Mean and central 95 % interval of each component's mass fraction."""
    low, _, high = central(feed.w)
    mean = feed.w.mean(axis=0)
    return {name: Estimate(float(mean[i]), float(low[i]), float(high[i])) for i, name in enumerate(feed.components)}
