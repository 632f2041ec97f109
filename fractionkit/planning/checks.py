"""What a plan refuses, and what it warns of."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fractionkit.errors import ConvergenceError, Fault, InputError
from fractionkit.planning.model import Plan
from fractionkit.planning.reach import endless_limit
from fractionkit.planning.running_costs import USUAL_RISE, USUAL_STARTUP
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import SetUp
from fractionkit.quantities import Flag, format_typed
from fractionkit.readings.checks import ZERO_CELSIUS
from fractionkit.sheets.still_model import StillSheet

FULL = 2.0 / 3.0
"""Part of a flask that may be filled for boiling; common practice, no source."""

COLD = 15.0
"""K by which cooling water should stay below the vapour that it condenses; common practice, no source."""

ROOM_TEMPERATURE = 293.15

BEYOND_AZEOTROPE = 0.01
"""Mass fraction by which a target must lie beyond an azeotrope to be refused unseen: so well azeotropes are known."""

UNSURE = 2e-3
"""Error of the fitted vapour fractions from which it is told."""


def check_charge(sheet: StillSheet, scenarios: Scenarios, setups: Sequence[SetUp]) -> None:
    """Refuse a pot that overflows and hold-ups of the sheet that are more than the charge."""
    volume = charge_volume(scenarios)
    faults = []
    if sheet.still.pot is not None and volume > sheet.still.pot:
        expected = f"a pot that takes the charge of {1e6 * volume:.0f} mL, filled to two thirds at most"
        faults.append(Fault(f"{1e3 * sheet.still.pot:g} L", expected, str(sheet.source), column="[still] pot"))
    if sheet.still.heel is not None and sheet.still.heel >= volume:
        expected = f"less than the charge of {1e6 * volume:.0f} mL"
        faults.append(Fault(f"{1e6 * sheet.still.heel:.0f} mL", expected, str(sheet.source), column="[still] heel"))
    for setup in setups:
        if not setup.built_in and setup.holdup >= volume:
            found = f"{1e6 * setup.holdup:.0f} mL"
            expected = f"a hold-up below the charge of {1e6 * volume:.0f} mL; nothing would come over"
            faults.append(Fault(found, expected, str(sheet.source), setup.row, f"[[setup]] holdup ({setup.name})"))
    if faults:
        raise InputError(faults)


def check_phases(sheet: StillSheet, scenarios: Scenarios) -> None:
    """Refuse a feed that may boil as two liquids: what is followed is one liquid."""
    mixture, w = scenarios.mixture, scenarios.feed.w.mean(axis=0)
    present = [k for k in range(mixture.n) if w[k] > 0.0]
    for place, i in enumerate(present):
        for j in present[place + 1 :]:
            point = mixture.immiscible_boiling_point(i, j, scenarios.pressure_mean)
            if point is not None:
                expected = (
                    f"a feed of one liquid; {mixture.names[i]} and {mixture.names[j]} boil as two at "
                    f"{point.T - ZERO_CELSIUS:.1f} °C: part and dry it first, and leave out what is taken away"
                )
                raise InputError(
                    Fault(f"{mixture.names[i]}, {mixture.names[j]}", expected, str(sheet.source), column="[feed]")
                )


def charge_volume(scenarios: Scenarios) -> float:
    """Volume of the charge at room temperature, m3."""
    w = scenarios.feed.w.mean(axis=0)
    return float(scenarios.feed.mass.mean() / scenarios.mixture.density(w, ROOM_TEMPERATURE))


def check_azeotrope(sheet: StillSheet, scenarios: Scenarios) -> None:
    """Refuse a target beyond the azeotrope of a feed of two components, where every draw of the feed lies on the far side.

    Nothing on one side of an azeotrope passes to the other by distilling: whichever comes first, the azeotrope or the pure
    component, the other follows.
    """
    w, i = scenarios.feed.w, scenarios.component
    others = [j for j in range(scenarios.mixture.n) if j != i and np.any(w[:, j] > 0.0)]
    point = scenarios.mixture.azeotrope(i, others[0], scenarios.pressure_mean) if len(others) == 1 else None
    if point is not None and float(w[:, i].max()) < point.w[0] < scenarios.feed.target.purity - BEYOND_AZEOTROPE:
        raise _impossible(sheet, scenarios, float(point.w[0]))


def check_possible(sheet: StillSheet, scenarios: Scenarios) -> None:
    """Refuse a target that no column reaches with this feed: an azeotrope is in the way, or the two boil too close."""
    try:
        limit = endless_limit(scenarios)
    except ConvergenceError:  # then nothing is known but what the set-ups give
        return
    if limit < scenarios.feed.target.purity:
        raise _impossible(sheet, scenarios, limit)


def _impossible(sheet: StillSheet, scenarios: Scenarios, limit: float) -> InputError:
    target = scenarios.feed.target
    in_the_way = azeotropes(scenarios)
    why = f"; {in_the_way[0]}" if in_the_way else ""
    expected = f"at most {100 * limit:.4g} wt% {target.component}, all that this feed gives with any column{why}"
    return InputError(Fault(format_typed(target.purity), expected, str(sheet.source), column="[target] purity"))


def azeotropes(scenarios: Scenarios) -> list[str]:
    """Sentences on azeotropes of the target with what else is in the feed."""
    mixture, i = scenarios.mixture, scenarios.component
    found = []
    for j in range(mixture.n):
        if j == i or scenarios.feed.w[:, j].mean() <= 0.0:
            continue
        point = mixture.azeotrope(i, j, scenarios.pressure_mean)
        if point is not None:
            kind = "boil together as two liquids" if point.liquids is not None else "form an azeotrope"
            found.append(
                f"{mixture.names[i]} and {mixture.names[j]} {kind} at {point.T - ZERO_CELSIUS:.1f} °C with "
                f"{100 * point.w[0]:.3g} wt% {mixture.names[i]}"
            )
    return found


def feed_flags(scenarios: Scenarios) -> Iterator[Flag]:
    """What must be known of readings and feed, whatever is planned with them."""
    yield from (Flag("reading", text) for text in scenarios.warnings)
    for text in azeotropes(scenarios):
        yield Flag("azeotrope", f"{text}: no cut on one side of it passes to the other.")


def flags_of(plan: Plan, sheet: StillSheet, scenarios: Scenarios) -> tuple[Flag, ...]:
    """What the user must know beside the figures."""
    flags, still = [*feed_flags(scenarios)], sheet.still
    if not any(trial.reaches for trial in plan.trials):
        flags.append(Flag("no_setup", "No set-up gives a cut that meets the target; each row says why."))
    volume = charge_volume(scenarios)
    if still.pot is not None and volume > FULL * still.pot:
        flags.append(
            Flag(
                "pot_full",
                f"The charge of {1e6 * volume:.0f} mL fills more than two thirds of the pot: it may boil over.",
            )
        )
    if not sheet.setups:
        flags.append(
            Flag(
                "built_in",
                "The columns are a table of usual ones, good to its stated spread: your own differs. Distil a known mixture "
                "through it and write what you find under [[setup]].",
            )
        )
    flags += _cooling(plan, sheet)
    if still.startup is None:
        with_column, without = (USUAL_STARTUP[column] / 60 for column in (True, False))
        flags.append(
            Flag(
                "startup",
                f"Times count {with_column:.0f} min from the first boiling to the first drop with a column, {without:.0f} "
                "min without; write startup under [still] if you know better. Heating up is not counted.",
            )
        )
    if scenarios.volatility.error_y > UNSURE:
        flags.append(
            Flag(
                "rough_volatility",
                f"The volatilities of this mixture are followed to {scenarios.volatility.error_y:.1g} in mole fraction only "
                "(two liquids, or a strong azeotrope): take the figures as rough.",
            )
        )
    return tuple(flags)


def _cooling(plan: Plan, sheet: StillSheet) -> list[Flag]:
    """Cooling water too warm for what comes over first, and the rise that was assumed."""
    still, flags = sheet.still, []
    rise = USUAL_RISE if still.cooling_rise is None else still.cooling_rise
    if still.cooling_rise is None:
        flags.append(
            Flag("coolant", f"Cooling water is counted with a rise of {rise:.0f} K; write cooling_rise under [still].")
        )
    if still.cooling_in is None:
        return flags
    first = min((float(t.course.head[0]) for t in plan.trials if t.course is not None), default=np.inf)
    leaves = still.cooling_in + rise
    if leaves > first - COLD:
        flags.append(
            Flag(
                "warm_water",
                f"The cooling water leaves at {leaves - ZERO_CELSIUS:.0f} °C and the first vapour condenses near "
                f"{first - ZERO_CELSIUS:.0f} °C: vapour will be lost. Colder water, or more of it.",
            )
        )
    return flags
