"""The text of the report."""

from __future__ import annotations

from collections.abc import Sequence

from tests.proof import aims, tables
from tests.proof.coverage import Cuts, Further


def text(found: Sequence[Cuts], control: Sequence[Cuts], more: Sequence[Further], command: str) -> str:
    """The whole report; parts that were not run are left out."""
    lines = ["# Proof of the estimator", "", f"Written by `{command}`; do not edit.", ""]
    if found:
        lines += _main(found)
    if more:
        lines += _more(more)
    if control:
        lines += _control(control)
    if found:
        lines += [
            "## Place of a cut's mean between its two head temperatures",
            "",
            "0 at the start's temperature, 1 at the end's; cuts over which the head rose by more than 0.05 K.",
            "",
            *tables.places(found),
        ]
    return "\n".join(lines)


def _main(found: Sequence[Cuts]) -> list[str]:
    good, plain = (aims.BY_HAND[quality] for quality in ("good", "plain"))
    return [
        "Whole runs are distilled (differential or 2 to 5 stages, random charge, 6 to 12 receivers changed by mass or by",
        "head temperature) with another model of the liquid and other constants than the estimator's (tests/proof/truth.py),",
        "read with instruments of two qualities (tests/proof/simulate.py) and handed to the estimator. One run in ten lacks",
        "head temperatures, one in seven densities, and one density in ten is missing. ± is one standard error from the",
        "spread between runs, since cuts of a run share their instruments' errors and constants. False claims: lots declared",
        "at 95 % to meet 80 to 99 wt% that truly do not. Runs refused: no interval stated.",
        "",
        "## Aims",
        "",
        f"*Not met* is said where a coverage is more than {aims.SETTLED:g} standard errors outside its aim, *not settled*",
        "where it is outside by less. *Cannot be met*: the bound (below) is over the aim.",
        "",
        *aims.overall(found),
        "Mixture by mixture:",
        "",
        *aims.by_mixture(found),
        "## Overall",
        "",
        *tables.overall(found),
        "## Each mixture",
        "",
        "RMS errors are of the first component where both readings were taken; by hand: straight density line at handbook",
        "values, and Raoult's vapour curve at the mid head temperature. *Where over 1 wt%*: on the cuts of those bands of true",
        "composition (ends at 5, 20, 40, 60, 80, 95 wt%) in which the mixture's better hand method has an RMS error over",
        "1 wt%; ours and the bound are divided by it there. Bound: root mean square of Cramér and Rao's least standard deviation",
        "on the same cuts (tests/proof/bound.py), with the errors of instruments, constants and model as large as they are",
        f"stated: where it is over the aim ({good:g} with good instruments, {plain:g} with plain ones), no estimator can reach",
        "the aim from these readings unless a constant becomes better known. The truths drawn here may lie nearer than stated,",
        "so that the RMS error can fall below it. The bound leaves out the order of distillation.",
        "",
        *tables.by_mixture(found),
        "## By what was read",
        "",
        *tables.by_regime(found),
    ]


def _more(more: Sequence[Further]) -> list[str]:
    return [
        "## With more evidence",
        "",
        "Some of the same runs, with head temperatures and a density of every cut; then one kind of further evidence added to",
        "them at a time, planted from the truth (tests/proof/more.py). Half widths of the 95 % intervals are medians of the",
        "ratio to the same cut's without the further evidence: of all cuts of the run, and of those that the reading is of.",
        "",
        *(line for count in (2, 3) for line in _kinds(more, count)),
    ]


def _kinds(more: Sequence[Further], components: int) -> list[str]:
    if not any(len(part.names) == components for part in more):
        return []
    return [f"{'Two' if components == 2 else 'Three'} components:", "", *tables.further(more, components)]


def _control(control: Sequence[Cuts]) -> list[str]:
    return [
        "## Control: truth drawn from the estimator's own prior",
        "",
        "Here only the inference can be wrong, no constant.",
        "",
        *tables.overall(control),
        *tables.control_by_mixture(control),
        *tables.by_regime(control),
    ]
