"""A campaign: batches of one feed, intermediate cuts carried into the next charge, until the recycle settles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fractionkit.errors import Fault, InputError
from fractionkit.planning.begin import asked, begun, refuse_hindered
from fractionkit.planning.campaign.core import MOST_BATCHES, Batches, Progress, Remembering, simulate
from fractionkit.planning.campaign.model import BatchRow, Campaign, PassesRow, Policy
from fractionkit.planning.campaign.passes import MOST_PASSES, repeated
from fractionkit.planning.campaign.settle import TOLERANCE, gathers, leaving, settling
from fractionkit.planning.campaign.still import still_divider
from fractionkit.planning.campaign.words import policy_remarks, sentences
from fractionkit.planning.checks import FULL, ROOM_TEMPERATURE, check_possible, feed_flags
from fractionkit.planning.compare import compare
from fractionkit.planning.cutting.words import single
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import SetUp, setups_of
from fractionkit.planning.trial import USUAL_RECEIVERS, Wish, estimate
from fractionkit.quantities import Flag
from fractionkit.sheets.still_model import StillSheet

Array = NDArray[np.float64]

__all__ = ["BatchRow", "Campaign", "Policy", "campaign", "simulate"]

COUNT = 40
"""Scenarios of a campaign."""

SCREEN = 40
"""Scenarios with which the set-up is chosen where nobody has."""

USUAL_BATCHES = 10
MOST_REFLUX = 1000.0

WORTH = 0.002
"""Gain of yield for which one more cut is worth carrying: fewer cuts are less work."""


def campaign(
    sheet: StillSheet,
    *,
    batches: int | None = None,
    carried: int | None = None,
    setup: str | None = None,
    reflux: float | None = None,
    carry_residue: bool = False,
    passes: int = 0,
    count: int = COUNT,
    progress: Progress | None = None,
) -> Campaign:
    """Simulate a campaign, for every number of carried cuts from none to ``carried``.

    Parameters
    ----------
    sheet : StillSheet
        What `load_still` read; its feed is what every batch takes fresh.
    batches : int
        How many; by default the sheet's, else `USUAL_BATCHES`.
    carried : int
        Most cuts that go into the next charge; by default the sheet's, else all receivers but the kept one.
    setup : str
        Name of a set-up of the sheet; left out, the one that `compare` ranks first.
    reflux : number
        L/D; left out, the one of the set-up that `compare` ranks first.
    carry_residue : bool
        Whether what is left in the pot stays for the next charge.
    passes : int
        Up to how many simple distillations are held against one batch with the set-up; 0 for none.
    count : int
        Scenarios drawn of all that is uncertain.
    progress : callable, optional
        Called with the batches done and the batches in all.

    Raises
    ------
    InputError
        for a sheet, a set-up or numbers that cannot be, and a target that this feed cannot give with any column.
    """
    chosen, ratio = _setup(sheet, setup, reflux)
    number = batches if batches is not None else sheet.campaign.batches or USUAL_BATCHES
    receivers = sheet.still.receivers or USUAL_RECEIVERS
    most = carried if carried is not None else sheet.campaign.carried
    most = receivers - 1 if most is None else most
    _check(number, most, passes)
    scenarios = begun(sheet, count, [chosen])
    wish = Wish(chosen, ratio)
    refuse_hindered(sheet, scenarios, wish, "[[setup]]")
    limit = _limit(sheet, scenarios)
    fresh = scenarios.feed.mass[:, None] * scenarios.feed.w
    policies = range(min(most, receivers - 1) + 1)
    divide = Remembering(still_divider(scenarios, wish, sheet.still, receivers))
    made = simulate(
        fresh, divide, number, list(policies), scenarios.component,
        limit=np.inf if limit is None else limit, carry_residue=carry_residue, progress=progress,
    )  # fmt: skip
    if not np.any(made.kept > 0.0):
        check_possible(sheet, scenarios)
    told = tuple(_policy(made, g, scenarios) for g in policies)
    found = _campaign(sheet, scenarios, wish, receivers, limit, told, carry_residue=carry_residue)
    return replace(found, passes=_passes(sheet, scenarios, told[0].batches[0], passes)) if passes else found


def _passes(sheet: StillSheet, scenarios: Scenarios, first: BatchRow, most: int) -> tuple[PassesRow, ...]:
    """One batch with the set-up, then 1 to ``most`` simple distillations of the same charge."""
    column = PassesRow(0, (), first.kept, first.recovery, first.time, first.heat)
    rows = [
        PassesRow(
            passes=made.passes,
            aims=made.aims,
            kept=estimate(made.kept),
            recovery=estimate(made.recovery),
            time=estimate(made.time) if np.all(np.isfinite(made.time)) else None,
            heat=estimate(made.heat),
        )
        for made in repeated(scenarios, sheet.still, most)
    ]
    return (column, *rows)


def _setup(sheet: StillSheet, name: str | None, reflux: float | None) -> tuple[SetUp, float]:
    """The set-up and reflux ratio asked for, what is left open by the ranking of the plan."""
    setups = setups_of(sheet)
    known = {setup.name: setup for setup in setups}
    if name is not None and name not in known:
        raise InputError(Fault(name, f"a set-up of the sheet: {', '.join(known)}", str(sheet.source), column="setup"))
    if reflux is not None and not (np.isfinite(reflux) and 0.0 <= reflux <= MOST_REFLUX):
        raise InputError(Fault(f"{reflux:g}", f"a reflux ratio from 0 to {MOST_REFLUX:g}", column="reflux"))
    if name is not None and reflux is not None:
        return known[name], reflux
    chosen = [trial for trial in compare(sheet, count=SCREEN).trials if name in (None, trial.setup.name)]
    return chosen[0].setup, chosen[0].reflux if reflux is None else reflux


def _check(batches: int, carried: int, passes: int) -> None:
    faults = []
    if not 1 <= batches <= MOST_BATCHES:
        faults.append(Fault(str(batches), f"1 to {MOST_BATCHES} batches", column="batches"))
    if carried < 0:
        faults.append(Fault(str(carried), "0 or more cuts to carry", column="carried"))
    if not 0 <= passes <= MOST_PASSES:
        faults.append(Fault(str(passes), f"0 to {MOST_PASSES} simple distillations", column="passes"))
    if faults:
        raise InputError(faults)


def _limit(sheet: StillSheet, scenarios: Scenarios) -> float | None:
    """Kilograms that the pot takes, filled as far as may be."""
    if sheet.still.pot is None:
        return None
    density = scenarios.mixture.density(scenarios.feed.w.mean(axis=0), ROOM_TEMPERATURE)
    return float(FULL * sheet.still.pot * density)


def _policy(made: Batches, g: int, scenarios: Scenarios) -> Policy:
    names, t = scenarios.feed.components, scenarios.component
    fresh, kept = made.fresh[g], made.kept[g]
    out = kept + made.waste[g] + made.residue[g]
    settled = settling(made.recycle[g])
    share = leaving(fresh, out)
    grows = gathers(share)
    fed = fresh[..., t].sum(axis=1)
    got = kept[..., t].sum(axis=1)
    total = kept.sum(axis=(1, 2))
    heat = made.heat[g].sum(axis=1)
    known = bool(np.all(np.isfinite(made.time[g])))
    growth = np.diff(made.recycle[g], axis=1, prepend=0.0)[:, -1]
    policy = Policy(
        carried=int(made.carried[g]),
        batches=tuple(_row(made, g, b, scenarios) for b in range(kept.shape[1])),
        kept=estimate(kept[:, -1].sum(axis=-1)),
        recovery=estimate(_ratio(kept[:, -1, t], fresh[:, -1, t])),
        overall=estimate(_ratio(got, fed)),
        with_recycle=estimate(_ratio(got + made.recycle[g][:, -1, t], fed)),
        settled=settled.last if settled.last > 0 and not grows.any() else None,
        share_settled=settled.settled,
        drift=float(np.median(settled.drift)),
        in_pot=estimate(_ratio(made.residue[g][:, -1, t], fresh[:, -1, t])),
        leaves={name: estimate(np.nan_to_num(share[:, k], nan=1.0)) for k, name in enumerate(names)},
        gathers=tuple(name for name, more in zip(names, grows, strict=True) if more),
        growth={name: estimate(growth[:, k]) for k, name in enumerate(names)},
        heat_per_kg=estimate(heat[total > 0.0] / total[total > 0.0]) if np.median(total) > 0.0 else None,
        time=estimate(made.time[g][:, -1]) if known else None,
        imbalance=made.imbalance(),
    )
    return policy_remarks(policy)


def _row(made: Batches, g: int, b: int, scenarios: Scenarios) -> BatchRow:
    kept, recycle = made.kept[g][:, b], made.recycle[g][:, b]
    mass = kept.sum(axis=-1)
    total = recycle.sum(axis=-1)
    w = recycle / np.maximum(total, 1e-300)[:, None]
    time = made.time[g][:, b]
    return BatchRow(
        number=b + 1,
        fresh=estimate(made.fresh[g][:, b].sum(axis=-1)),
        charge=estimate(made.charge[g][:, b].sum(axis=-1)),
        kept=estimate(mass),
        recovery=estimate(_ratio(kept[:, scenarios.component], made.fresh[g][:, b, scenarios.component])),
        assay=estimate(kept[mass > 0.0, scenarios.component] / mass[mass > 0.0]) if np.any(mass > 0.0) else None,
        meets=float(made.meets[g, b]),
        waste=estimate(made.waste[g][:, b].sum(axis=-1)),
        residue=estimate(made.residue[g][:, b].sum(axis=-1)),
        recycle=estimate(total),
        composition={name: estimate(w[:, k]) for k, name in enumerate(scenarios.feed.components)}
        if np.all(total > 0.0)
        else {},
        cuts=int(made.cuts[g, b]),
        cut_at=made.notes[b][g],
        time=estimate(time) if np.all(np.isfinite(time)) else None,
        heat=estimate(made.heat[g][:, b]),
    )


def _ratio(part: Array, whole: Array) -> Array:
    return np.asarray(part / np.maximum(whole, 1e-300))


def best_policy(policies: tuple[Policy, ...]) -> int:
    """Place of the policy of highest overall yield, of those within `WORTH` of it the one that carries least.

    Only policies are compared in which nothing gathers, as carrying nothing always is: the yield of a recycle that still
    grows will not be kept up by the batches to come.
    """
    yields = np.array([policy.overall.estimate for policy in policies])
    steady = np.array([policy.carried == 0 or not policy.gathers for policy in policies])
    if np.any(steady & (yields > 0.0)):
        yields = np.where(steady, yields, -1.0)
    return int(np.flatnonzero(yields >= yields.max() - WORTH)[0])


def _campaign(
    sheet: StillSheet,
    scenarios: Scenarios,
    wish: Wish,
    receivers: int,
    limit: float | None,
    policies: tuple[Policy, ...],
    *,
    carry_residue: bool,
) -> Campaign:
    made = Campaign(
        **vars(asked(sheet, scenarios)),
        setup=wish.setup.name,
        stages=estimate(scenarios.stages(wish.setup)),
        reflux=wish.reflux,
        receivers=receivers,
        fresh=estimate(scenarios.feed.mass),
        limit=limit,
        residue_carried=carry_residue,
        tolerance=TOLERANCE,
        policies=policies,
        best=best_policy(policies),
        flags=_flags(scenarios, limit),
    )
    return sentences(made)


def _flags(scenarios: Scenarios, limit: float | None) -> tuple[Flag, ...]:
    """What must be known beside the figures, whatever is carried."""
    flags = [*feed_flags(scenarios)]
    feed = float(scenarios.feed.mass.mean())
    if limit is not None and feed > limit:
        room, wished = single(limit, "mass"), single(feed, "mass")
        text = f"Filled to two thirds, the pot takes {room} of the {wished} of feed: a batch takes less."
        flags.append(Flag("pot_full", text))
    return tuple(flags)
