"""Cost of the still: against a scalar loop over the thermo package's bubble point, and how it grows."""

import sys
import time
import warnings
from pathlib import Path

import numpy as np
from thermo import ChemicalConstantsPackage, FlashVL, GibbsExcessLiquid, IdealGas, IdealSolution

from fractionkit.mixture import Mixture
from fractionkit.planning.compare import compare
from fractionkit.planning.scenarios import scenarios_of
from fractionkit.quantities import parse
from fractionkit.sheets.model import PressureEntry, TargetEntry
from fractionkit.sheets.still_model import FeedEntry, SetupEntry, StillEntry, StillSheet
from fractionkit.still import ConstantVolatility, FittedVolatility, distil

NAMES = ["chloroform", "trichloroethylene", "tetrachloroethylene"]
PRESSURE = 98600.0
FEED = np.array([0.3, 0.3, 0.4])
STAGES, REFLUX = 6, 4.0


def seconds(work, repeat=3):
    """Shortest processor time of a few runs; other processes on the machine do not count."""
    times = []
    for _ in range(repeat):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def scalar_bubble_point():
    with warnings.catch_warnings():
        # pandas warns of the way in which thermo reads its tables
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", FutureWarning)
        constants, properties = ChemicalConstantsPackage.from_IDs(NAMES)
    start = {"T": 350.0, "P": PRESSURE, "zs": [1.0 / 3.0] * 3}
    liquid = GibbsExcessLiquid(
        VaporPressures=properties.VaporPressures,
        VolumeLiquids=properties.VolumeLiquids,
        HeatCapacityGases=properties.HeatCapacityGases,
        GibbsExcessModel=IdealSolution(T=350.0, xs=start["zs"]),
        **start,
    )
    gas = IdealGas(HeatCapacityGases=properties.HeatCapacityGases, **start)
    flasher = FlashVL(constants, properties, liquid=liquid, gas=gas)
    return lambda x: flasher.flash(P=PRESSURE, VF=0, zs=list(x)).gas.zs


def scalar_steps(bubble, steps, size=0.01):
    """The same batch the plain way: Euler steps of 1 % of the charge, the column by repeated substitution."""
    pot, x = FEED.copy(), [FEED.copy() for _ in range(STAGES)]
    top = FEED.copy()
    share = REFLUX / (REFLUX + 1.0)
    for _ in range(steps):
        x[0] = pot / pot.sum()
        for _ in range(100):
            before = top
            y = [np.array(bubble(level)) for level in x]
            # at fixed K: from the distillate down, every level is a multiple of it, component by component
            multiple = x[-1] / y[-1]
            multiples = [multiple]
            for level in range(STAGES - 2, -1, -1):
                multiple = (share * multiple + 1.0 - share) * x[level] / y[level]
                multiples.append(multiple)
            top = x[0] / multiples[-1]
            top /= top.sum()
            for level in range(1, STAGES):
                guess = multiples[STAGES - 1 - level] * top
                x[level] = guess / guess.sum()
            if np.abs(top - before).max() < 1e-5:
                break
        pot = pot - size * top
    return pot, top


def test_against_a_scalar_loop():
    bubble = scalar_bubble_point()
    scalar_steps(bubble, 1)
    steps = 3
    scalar = seconds(lambda: scalar_steps(bubble, steps), 1) / steps * 95
    feeds = np.tile(FEED, (200, 1))
    fitted = FittedVolatility(Mixture(NAMES, activity="ideal"), PRESSURE, goal=5e-4)
    together = seconds(lambda: distil(fitted, feeds, STAGES, REFLUX, PRESSURE, points=1), 2) / len(feeds)
    alone = seconds(lambda: distil(Mixture(NAMES, activity="ideal"), FEED, STAGES, REFLUX, PRESSURE))
    sys.stdout.write(
        f"scalar loop / {len(feeds)} together: {scalar / together:.0f}; / one alone: {scalar / alone:.0f}\n"
    )
    assert scalar / together > 300.0
    assert scalar / alone > 20.0
    # the two are the same calculation: the first drop is the same, but for the packages' vapour pressures
    _, top = scalar_steps(bubble, 1)
    first = distil(Mixture(NAMES, activity="ideal"), FEED, STAGES, REFLUX, PRESSURE).distillate[0]
    np.testing.assert_allclose(top, first, rtol=0, atol=0.01)


def test_cost_grows_in_proportion():
    mixture = ConstantVolatility([4.0, 2.0, 1.0])
    feeds = np.random.default_rng(1).dirichlet([5.0, 5.0, 5.0], size=1024)

    def cost(scenarios, stages):
        return seconds(lambda: distil(mixture, feeds[:scenarios], stages, REFLUX, PRESSURE, points=1), 2)

    base = cost(256, 4)
    assert cost(1024, 4) < 4.0 * base * 1.8
    assert cost(256, 8) < 2.0 * base * 1.8


def plan_sheet(count):
    """A plan of ``count`` set-ups of about six stages for a charge of three components."""

    def q(text, kind):
        return parse(text, kind)

    setups = tuple(
        SetupEntry(
            name=f"column {k}", stages=q(f"{5 + 2 * k / count:.3f} ± 1", "number"), holdup=q("10 ± 4 mL", "volume"),
            throughput=q("15 mL/min", "flow"), reflux=(3.0,),
        )
        for k in range(count)
    )  # fmt: skip
    return StillSheet(
        source=Path("STILL.toml"), title="", date=None, components=tuple(NAMES),
        feed=FeedEntry(
            mass=q("900 g", "mass"), rest=NAMES[2],
            composition={NAMES[0]: q("30 ± 2 wt%", "fraction"), NAMES[1]: q("30 ± 2 wt%", "fraction")},
        ),
        pressure=PressureEntry(station=q("98.6 ± 0.4 kPa", "pressure")),
        target=TargetEntry(NAMES[2], 0.97, 0.95), still=StillEntry(heater=q("200 W", "power")), setups=setups,
    )  # fmt: skip


def test_set_ups_cost_what_their_distillations_do():
    """A plan costs little beside the distillations themselves, and grows with the set-ups and not faster."""
    few, many = 4, 16

    def whole(count):
        return seconds(lambda: compare(plan_sheet(count), count=100), 1)

    sheet = plan_sheet(many)
    scenarios = scenarios_of(sheet, 100)
    feeds, stages = np.tile(scenarios.moles, (2, 1)), np.tile(np.linspace(5.0, 7.0, 100), 2)
    fitted = scenarios.volatility.take(np.tile(np.arange(100), 2))
    pressure = np.tile(scenarios.pressure, 2)
    alone = seconds(lambda: distil(fitted, feeds, stages, 3.0, pressure, column_holdup=0.1, tolerance=2e-3, points=2))
    whole(few)
    first, last = whole(few), whole(many)
    each = (last - first) / (many - few)
    sys.stdout.write(
        f"one set-up, 100 scenarios of three components: {each:.3f} s of processor time, {each / (alone / 2):.1f} times its "
        f"distillations; 200 set-ups on two processors: {200 * each / 2:.0f} s\n"
    )
    assert each < 3.0 * alone / 2
    assert last < 1.8 * many / few * first
