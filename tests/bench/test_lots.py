"""Cost of combining: against trying every plan on a grid, and how it grows with the number of materials."""

import time

from fractionkit.lots import Wanted, combine, frontier
from tests.lots.worlds import PAIR, grid_best, materials

GROWTH = 10  # times as many materials
WANT = Wanted(PAIR[0], 0.985)


def seconds(work, repeat=3):
    """Shortest processor time of a few runs; other processes on the machine do not count."""
    times = []
    for _ in range(repeat):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


def test_cheaper_than_trying_every_plan():
    """Eight materials in quarters, 390,625 plans on 400 draws, are dearer than the optimum over all parts."""
    few = materials(3, 8, origins=2)
    made = combine(few, (WANT,))
    quarters = (0.0, 0.25, 0.5, 0.75, 1.0)
    brute = seconds(lambda: grid_best(made, quarters), repeat=1)
    ours = seconds(lambda: combine(few, (WANT,)))
    print(f"combine {1e3 * ours:.0f} ms, every plan in quarters {1e3 * brute:.0f} ms: {brute / ours:.0f} times")
    assert brute > 5.0 * ours


def test_a_thousand_materials():
    """Ten times as many materials cost less than the square of it; 1,000 of them with their frontier stay affordable."""
    few, many = (materials(5, count, draws=1024, origins=20) for count in (100, 1000))
    small, large = (seconds(lambda made=made: combine(made, (WANT,)), repeat=2) for made in (few, many))
    whole = seconds(lambda: combine(many, (Wanted(PAIR[0], 0.985, whole=True),)), repeat=1)
    curve = seconds(lambda: frontier(many, WANT, points=10), repeat=1)
    print(
        f"100: {small:.2f} s, 1,000: {large:.2f} s ({large / small:.0f} times), whole {whole:.2f} s, frontier {curve:.2f} s"
    )
    assert large < GROWTH**2 * small
    assert whole < 5.0 * large
    assert curve < 10.0 * large
