"""A campaign in sentences."""

from __future__ import annotations

from dataclasses import replace

from fractionkit.planning.campaign.model import Campaign, Policy
from fractionkit.planning.cutting.words import shown, span
from fractionkit.quantities import format_typed

MORE = 0.005
"""Yield by which a policy that does not settle must be ahead to be told of."""

POT_SHARE = 0.03
"""Part of the target left in the pot from which it is told."""


def policy_remarks(policy: Policy) -> Policy:
    """Return the policy with what must be known of it."""
    remarks = []
    for name in policy.gathers:
        leaves, more = policy.leaves[name].estimate, policy.growth[name].estimate
        if leaves < 1e-3:
            remarks.append(
                f"Nothing of the {name} that comes in leaves again: the recycle gains {shown(more, more, more, 'mass')} of "
                "it with every batch, without end, unless a cut is taken out now and then."
            )
        else:
            remarks.append(
                f"{name.capitalize()} still gathers in the recycle after {len(policy.batches)} batches: of what a batch "
                f"brings, {100 * leaves:.0f} % leaves."
            )
    last = policy.batches[-1]
    if last.fresh.estimate < 0.98 * policy.batches[0].fresh.estimate:
        remarks.append(
            f"The pot is full: beside the recycle the last batch takes only {span(last.fresh, 'mass')} of fresh feed."
        )
    empty = sum(row.kept.estimate <= 0.0 for row in policy.batches)
    if empty:
        remarks.append(
            f"{empty} of {len(policy.batches)} batches give{'s' if empty == 1 else ''} nothing that meets the target."
        )
    return replace(policy, remarks=tuple(remarks))


def sentences(made: Campaign) -> Campaign:
    """Return the campaign with the answer in sentences."""
    best, count = made.chosen, len(made.chosen.batches)
    if best.overall.estimate <= 0.0:
        text = (
            f"No batch of this campaign gives a cut of {format_typed(made.purity)} {made.target}, whatever is carried into "
            "the next charge: it takes more stages or reflux.",
        )
        return replace(made, text=text)
    told = [
        f"Carry {_cuts(best.carried)} into the next charge: over {count} batch{'es' if count > 1 else ''} "
        f"{span(best.overall, 'probability')} of the {made.target} fed is kept, "
        f"{span(best.kept, 'mass')} in the last batch."
    ]
    if best.carried and len(made.policies) > 1:
        alone = made.policies[0]
        told.append(f"With nothing carried it is {span(alone.overall, 'probability')}.")
    if best.carried:
        told.append(_settles(best, made.tolerance))
    more = max(made.policies, key=lambda policy: policy.overall.estimate)
    if more.overall.estimate > best.overall.estimate + MORE:
        told.append(
            f"With {_cuts(more.carried)} carried it is {span(more.overall, 'probability')} over these batches, but the "
            f"recycle gathers {' and '.join(more.gathers)}: later batches will not keep that up."
        )
    if not made.residue_carried and best.in_pot.estimate > POT_SHARE:
        told.append(
            f"{span(best.in_pot, 'probability').capitalize()} of the {made.target} stays in the pot and is set aside with "
            "what does not boil; distilling further, or leaving it for the next charge (--carry-residue), wins some of it back."
        )
    if made.residue_carried:
        told.append("What does not boil gathers in the pot with every batch: empty it before it foams, chars or bumps.")
    told += best.remarks
    return replace(made, text=tuple(told))


def _cuts(number: int) -> str:
    return "nothing" if number == 0 else "the richest cut" if number == 1 else f"the {number} richest cuts"


def _settles(policy: Policy, tolerance: float) -> str:
    last = policy.batches[-1]
    what = f"{span(last.recycle, 'mass')} then stand ready for the next charge"
    if policy.settled is None:
        return (
            f"The recycle has not settled in {len(policy.batches)} batches: from batch to batch, or in all that is to come, "
            f"it still changes by about {100 * min(policy.drift, 1.0):.2g} % of its mass; {what}."
        )
    return (
        f"The recycle has settled by batch {policy.settled}: what it still changes by, now and later, is within "
        f"{100 * tolerance:.2g} % of its mass; {what}."
    )
