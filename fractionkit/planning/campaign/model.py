"""A campaign of batches: what the report, the picture and the command read. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass

from fractionkit.planning.model import Asked
from fractionkit.quantities import Estimate, Flag


@dataclass(frozen=True)
class BatchRow:
    """One batch: kg, medians with 95 % intervals.

    fresh, charge, kept, waste, residue : this batch's, waste being the cuts that are set aside; recycle : what stands
    ready afterwards, with its composition (component -> mass fraction). assay : of what is kept, None where nothing is;
    recovery : part of the target fed fresh that is kept. meets : probability that it meets the purity. cuts : how many
    were carried on. cut_at : when the heart was cut, in words. time : s, None where unknown; heat : J.
    """

    number: int
    fresh: Estimate
    charge: Estimate
    kept: Estimate
    recovery: Estimate
    assay: Estimate | None
    meets: float
    waste: Estimate
    residue: Estimate
    recycle: Estimate
    composition: dict[str, Estimate]
    cuts: int
    cut_at: str
    time: Estimate | None
    heat: Estimate


@dataclass(frozen=True)
class Policy:
    """What comes of carrying at most ``carried`` cuts.

    kept, recovery : kg a batch and part of the target fed that is kept, in the last batch; overall : part of all the
    target fed in the campaign; with_recycle : the same, what stands in the recycle at the end counted too.
    settled : number of the batch by which the recycle has settled in 95 % of the scenarios, None where it has not;
    share_settled : part of the scenarios. drift : part of the recycle by which it would still change.
    in_pot : part of the target fed in the last batch that is left in the pot and set aside.
    leaves : component -> part of what the later half of the batches brought that left in them. gathers : components that
    still gather; growth : component -> kg that the last batch added to the recycle. heat_per_kg : J for a kilogram
    kept, None without any; time : s of a batch. remarks : what must be known of this policy.
    """

    carried: int
    batches: tuple[BatchRow, ...]
    kept: Estimate
    recovery: Estimate
    overall: Estimate
    with_recycle: Estimate
    settled: int | None
    share_settled: float
    drift: float
    in_pot: Estimate
    leaves: dict[str, Estimate]
    gathers: tuple[str, ...]
    growth: dict[str, Estimate]
    heat_per_kg: Estimate | None
    time: Estimate | None
    imbalance: float
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class PassesRow:
    """One charge of fresh feed by other means: ``passes`` simple distillations, or 0 for the set-up of the campaign.

    kept : kg; recovery : of the target charged; both 0 where nothing meets the target. aims : purity at which the cut
    of each pass is taken. time : s of all passes, None where unknown; heat : J.
    """

    passes: int
    aims: tuple[float, ...]
    kept: Estimate
    recovery: Estimate
    time: Estimate | None
    heat: Estimate


@dataclass(frozen=True)
class Campaign(Asked):
    """Batches of one feed with one set-up; ``policies`` by how many cuts they carry, ``best`` the place of the best.

    fresh : kg of feed a batch would like to take. limit : kg that the pot takes, None where the sheet does not say.
    tolerance : part of the recycle by which it may change once settled. text : the answer in sentences.
    passes : one charge by the set-up and by simple distillations, where that was asked for.
    """

    setup: str
    stages: Estimate
    reflux: float
    receivers: int
    fresh: Estimate
    limit: float | None
    residue_carried: bool
    tolerance: float
    policies: tuple[Policy, ...]
    best: int
    flags: tuple[Flag, ...]
    text: tuple[str, ...] = ()
    passes: tuple[PassesRow, ...] = ()

    @property
    def chosen(self) -> Policy:
        """The policy that yields most."""
        return self.policies[self.best]
