"""What recovering costs, against buying new, and whether another pass pays: plain sums of the user's own figures.

Both ways end with the same mass of solvent in hand. Recovering costs labour, energy, fresh solvent and the disposal of
what is left over; buying costs the price of as much new solvent and the disposal of everything.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist

from fractionkit.quantities import COVERAGE_95, format_probability
from fractionkit.sheets.lot_model import AnotherPass, Economics, Effort

HOUR, KWH = 3600.0, 3.6e6

Line = tuple[str, str]


@dataclass(frozen=True)
class Recovery:
    """Sums of one recovery, in the user's currency; masses in kg. None where a price that it needs is not told.

    effort : labour, energy and fresh solvent. disposal : of what is left over. per_kg : cost of one kg kept, with its 95 %
    interval from the mass. buying : as much new, and all disposed of. gain : buying less recovering. break_even : price of
    one kg new from which recovering pays.
    """

    kept: float
    left: float
    effort: float
    disposal: float
    total: float
    per_kg: tuple[float, float, float] | None
    buying: float | None
    gain: float | None
    break_even: float | None


@dataclass(frozen=True)
class Pass:
    """Distilling once more what was left over: what it costs, what it is expected to bring, and the chance that it pays.

    kept : kg, best estimate and 95 % interval. cost : of the pass. worth : of one kg more: the price of one kg new and the
    disposal saved. gain : worth less cost, with its 95 % interval. needed : kg from which it pays. chance : that it does.
    """

    kept: tuple[float, float, float]
    cost: float
    per_kg: tuple[float, float, float]
    worth: float
    gain: tuple[float, float, float]
    needed: float | None
    chance: float


def cost_of(effort: Effort, prices: Economics) -> float:
    """Labour, energy and fresh solvent; what is not told costs nothing."""
    return sum(amount * price for amount, price, _ in _items(effort, prices))


def recovery(prices: Economics, kept: float, kept_u: float, left: float) -> Recovery:
    """Sums of a recovery of ``kept`` kg with ``left`` kg left over; kept_u : standard uncertainty of what was kept."""
    effort = cost_of(prices.effort, prices)
    disposal_price = prices.disposal_price or 0.0
    total = effort + disposal_price * left
    both = kept + left
    half = COVERAGE_95 * kept_u

    def per(mass: float) -> float:
        return (effort + disposal_price * (both - mass)) / mass

    per_kg = (per(kept), per(kept + half), per(max(kept - half, 1e-3 * kept))) if kept > 0.0 else None
    buying = None if prices.new_price is None else prices.new_price * kept + disposal_price * both
    return Recovery(
        kept,
        left,
        effort,
        disposal_price * left,
        total,
        per_kg,
        buying,
        None if buying is None else buying - total,
        (effort - disposal_price * kept) / kept if kept > 0.0 else None,
    )


def another_pass(prices: Economics, pass_: AnotherPass) -> Pass | None:
    """Whether distilling the rest once more pays; None without the price of one kg new."""
    if prices.new_price is None:
        return None
    cost = cost_of(pass_.effort, prices)
    worth = prices.new_price + (prices.disposal_price or 0.0)
    mean, u = pass_.kept.value, pass_.kept.u or 0.0
    low, high = max(mean - COVERAGE_95 * u, 1e-3 * mean), mean + COVERAGE_95 * u
    needed = cost / worth if worth > 0.0 else None
    if needed is None:
        chance = 0.0
    elif u > 0.0:
        chance = 1.0 - NormalDist(mean, u).cdf(needed)
    else:
        chance = float(mean >= needed)
    return Pass(
        (mean, low, high),
        cost,
        (cost / mean, cost / high, cost / low),
        worth,
        (worth * mean - cost, worth * low - cost, worth * high - cost),
        needed,
        chance,
    )


def lines(prices: Economics, found: Recovery, lots_worth: float | None, again: Pass | None) -> tuple[Line, ...]:
    """The sums in words, one line each with its amount."""
    money = _money(prices.currency)
    told = [(f"{what}", money(amount * price)) for amount, price, what in _items(prices.effort, prices)]
    if prices.disposal_price is not None:
        told.append(
            (f"disposal of {_mass(found.left)} left over at {prices.disposal_price:.2f}", money(found.disposal))
        )
    told.append(("recovering costs in all", money(found.total)))
    if found.per_kg is not None:
        told.append((f"that is for one kg of the {_mass(found.kept)} kept", _interval(found.per_kg, prices.currency)))
    if lots_worth is not None:
        told.append(("the lots are worth, at the prices of the targets", money(lots_worth)))
    if found.buying is not None and found.gain is not None and found.kept > 0.0:
        dispose = " and disposing of everything" if prices.disposal_price else ""
        told.append((f"buying {_mass(found.kept)} new{dispose} costs", money(found.buying)))
        told.append((f"recovering {'saves' if found.gain >= 0.0 else 'loses'}", money(abs(found.gain))))
        if found.break_even is not None:
            told.append(("recovering pays where one kg new costs at least", money(max(found.break_even, 0.0))))
    if again is not None:
        told += _pass_lines(again, prices)
    return tuple(told)


def _pass_lines(again: Pass, prices: Economics) -> list[Line]:
    money = _money(prices.currency)
    low, high = again.kept[1], again.kept[2]
    span = f"{_mass(low)} to {_mass(high)}" if high > low else _mass(low)
    pays = "pays" if again.gain[0] >= 0.0 else "does not pay"
    told = [
        (f"another pass, keeping {span} more, costs", money(again.cost)),
        ("that is for one kg more", _interval(again.per_kg, prices.currency)),
        ("one kg more is worth, with the disposal saved", money(again.worth)),
        (f"another pass {pays}: it {'gains' if again.gain[0] >= 0.0 else 'loses'}", _gain(again.gain, prices.currency)),
    ]
    if again.needed is not None:
        told.append(("another pass pays from", f"{_mass(again.needed)} kept"))
    if high > low:
        told.append(("probability that it pays", format_probability(again.chance)))
    return told


def _items(effort: Effort, prices: Economics) -> list[tuple[float, float, str]]:
    """(amount, price, words) of what is told; amounts in h, kWh, kg."""
    found = []
    for amount, price, unit, what in (
        (effort.labour, prices.labour_rate, HOUR, "labour, {:g} h at {:.2f}"),
        (effort.energy, prices.energy_price, KWH, "energy, {:g} kWh at {:.2f}"),
        (effort.makeup, prices.makeup_price, 1.0, "fresh solvent, {:g} kg at {:.2f}"),
    ):
        if amount is not None and price is not None:
            found.append((amount / unit, price, what.format(round(amount / unit, 6), price)))
    return found


def _money(currency: str) -> Callable[[float], str]:
    return lambda amount: f"{amount:.2f} {currency}".strip()


def _mass(kg: float) -> str:
    return f"{kg:.3g} kg" if kg >= 1.0 else f"{1e3 * kg:.3g} g"


def _interval(figures: tuple[float, float, float], currency: str) -> str:
    middle, low, high = (f"{figure:.2f}" for figure in figures)
    unit = f"{currency}/kg" if currency else "a kg"
    return f"{middle} {unit}" if low == high else f"{middle} ({low}–{high}) {unit}"


def _gain(figures: tuple[float, float, float], currency: str) -> str:
    middle, low, high = figures
    if middle < 0.0:
        middle, low, high = -middle, -high, -low
    text = f"{middle:.2f}" if low == high else f"{middle:.2f} ({low:.2f} to {high:.2f})"
    return f"{text} {currency}".strip()
