"""Economics against sums done by hand: every figure below is written out as one would on paper."""

import pytest
from scipy.stats import norm

from fractionkit.quantities import parse
from fractionkit.release.economics import another_pass, cost_of, lines, recovery
from fractionkit.sheets.lot_model import AnotherPass, Economics, Effort

# 4 h at 15.00 = 60.00; 5 kWh at 0.30 = 1.50; 0.2 kg of fresh solvent at 10.00 = 2.00; together 63.50.
PRICES = Economics(
    currency="EUR",
    labour_rate=15.0,
    energy_price=0.30,
    makeup_price=10.0,
    disposal_price=2.0,
    new_price=25.0,
    effort=Effort(labour=4 * 3600.0, energy=5 * 3.6e6, makeup=0.2),
)


def test_cost_of_the_effort():
    assert cost_of(PRICES.effort, PRICES) == pytest.approx(63.50)


def test_recovering_against_buying_new():
    """8 kg kept, 2 kg left over.

    Recovering: 63.50 + 2 kg · 2.00 = 67.50; a kg kept costs 67.50/8 = 8.4375.
    Buying: 8 kg · 25.00 = 200.00, and all 10 kg are disposed of: 10 · 2.00 = 20.00; together 220.00.
    Saved: 220.00 - 67.50 = 152.50. Break-even: (63.50 - 8 · 2.00)/8 = 47.50/8 = 5.9375 for one kg new.
    """
    found = recovery(PRICES, 8.0, 0.0, 2.0)
    assert (found.effort, found.disposal, found.total) == pytest.approx((63.50, 4.00, 67.50))
    assert found.per_kg == pytest.approx((8.4375, 8.4375, 8.4375))
    assert found.buying == pytest.approx(220.0)
    assert found.gain == pytest.approx(152.5)
    assert found.break_even == pytest.approx(5.9375)


def test_cost_of_a_kilogram_has_the_interval_of_the_mass():
    """8 ± 0.5 kg: with 8.5 kg kept 1.5 are left: (63.50 + 3.00)/8.5 = 7.8235; with 7.5 kg (63.50 + 5.00)/7.5 = 9.1333."""
    found = recovery(PRICES, 8.0, 0.5 / 1.959964, 2.0)
    assert found.per_kg == pytest.approx((8.4375, 66.5 / 8.5, 68.5 / 7.5))


def test_another_pass():
    """Half the effort again: 2 h · 15.00 + 2.5 kWh · 0.30 = 30.75 for 1.5 ± 0.4 kg more.

    One kg more is worth 25.00 + 2.00 of disposal saved = 27.00. Gain: 1.5 · 27.00 - 30.75 = 9.75; at 1.1 kg -1.05, at 1.9 kg
    20.55. It pays from 30.75/27.00 = 1.1389 kg, which is (1.5 - 1.1389)/(0.4/1.96) = 1.7695 standard uncertainties below.
    """
    again = another_pass(PRICES, AnotherPass(parse("1.5 ± 0.4 kg", "mass"), Effort(2 * 3600.0, 2.5 * 3.6e6)))
    assert again.cost == pytest.approx(30.75)
    assert again.worth == pytest.approx(27.0)
    assert again.gain == pytest.approx((9.75, -1.05, 20.55), abs=1e-5)
    assert again.per_kg == pytest.approx((20.5, 30.75 / 1.9, 30.75 / 1.1), rel=1e-6)
    assert again.needed == pytest.approx(30.75 / 27.0)
    assert again.chance == pytest.approx(norm.cdf(1.7695), abs=2e-4)


def test_a_pass_of_a_mass_without_uncertainty_pays_or_does_not():
    effort = Effort(2 * 3600.0)  # 30.00 at 27.00 a kg: 1.11 kg
    assert another_pass(PRICES, AnotherPass(parse("1.2 kg", "mass"), effort)).chance == 1.0
    assert another_pass(PRICES, AnotherPass(parse("1.1 kg", "mass"), effort)).chance == 0.0


def test_what_is_not_told_is_not_made_up():
    bare = Economics(labour_rate=15.0, effort=Effort(labour=3600.0))
    found = recovery(bare, 1.0, 0.0, 1.0)
    assert (found.total, found.buying, found.gain) == (15.0, None, None)
    assert another_pass(bare, AnotherPass(parse("1 kg", "mass"))) is None
    told = lines(bare, found, None, None)
    assert ("labour, 1 h at 15.00", "15.00") in told
    assert not any("new" in what or "disposal" in what for what, _ in told)


def test_nothing_kept():
    found = recovery(PRICES, 0.0, 0.0, 10.0)
    assert found.per_kg is None
    assert found.total == pytest.approx(83.50)
    assert "recovering costs in all" in dict(lines(PRICES, found, None, None))


def test_the_lines_in_words():
    found = recovery(PRICES, 8.0, 0.5 / 1.959964, 2.0)
    again = another_pass(PRICES, AnotherPass(parse("1.5 ± 0.4 kg", "mass"), Effort(2 * 3600.0, 2.5 * 3.6e6)))
    told = dict(lines(PRICES, found, 90.0, again))
    assert told["disposal of 2 kg left over at 2.00"] == "4.00 EUR"
    assert told["that is for one kg of the 8 kg kept"] == "8.44 (7.82–9.13) EUR/kg"
    assert told["recovering saves"] == "152.50 EUR"
    assert told["another pass pays: it gains"] == "9.75 (-1.05 to 20.55) EUR"
    assert told["probability that it pays"] == "96.1 %"
    dear = lines(PRICES, recovery(PRICES, 0.5, 0.0, 9.5), None, None)
    assert "recovering loses" in dict(dear)
