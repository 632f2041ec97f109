"""Set-ups compared: from a sheet to the plan."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

from fractionkit.errors import Fault, InputError
from fractionkit.planning.begin import asked, begun
from fractionkit.planning.checks import check_possible, flags_of
from fractionkit.planning.cutting.best import frontier
from fractionkit.planning.cutting.curve import collected
from fractionkit.planning.cutting.model import Frontier
from fractionkit.planning.model import Plan, Trial
from fractionkit.planning.running_costs import course
from fractionkit.planning.scenarios import Scenarios
from fractionkit.planning.setups import setups_of
from fractionkit.planning.trial import (
    USUAL_RECEIVERS,
    Wish,
    chance_margin,
    distilled,
    estimate,
    rates,
    run_trials,
    stop_mass,
)
from fractionkit.sheets.still_model import Rank, StillEntry, StillSheet

TOGETHER = 256
"""Scenarios of several set-ups that are distilled in one go."""

COUNT, FEW_TRIALS = 100, 40

WORTH_A_PROCESS = 16
"""Trials below which one process is quicker than starting more."""

SHOWN = 6
"""Set-ups whose kept mass is told against the assay."""

Progress = Callable[[int, int], None]


def compare(
    sheet: StillSheet,
    *,
    count: int | None = None,
    processes: int = 1,
    pictures: bool = False,
    progress: Progress | None = None,
) -> Plan:
    """Compare the set-ups of a sheet.

    Parameters
    ----------
    sheet : StillSheet
        What `load_still` read.
    count : int, optional
        Scenarios drawn of all that is uncertain; `FEW_TRIALS` or fewer trials are worth 200, more of them 100 each.
    processes : int
        Processes to share the work between, 0 for as many as the machine has processors. More than one only from a
        script that may be imported again (``if __name__ == "__main__"``).
    pictures : bool
        Whether the curves of kept mass against assay are wanted too.
    progress : callable, optional
        Called with the trials done and the trials in all.

    Raises
    ------
    InputError
        for a feed, a pressure or a set-up that cannot be, and for a target that this feed cannot give with any column.
    AtOddsError
        for a feed from a run whose readings are at odds.
    """
    setups = setups_of(sheet)
    wishes = [Wish(setup, reflux) for setup in setups for reflux in setup.reflux]
    usual = COUNT if len(wishes) > FEW_TRIALS else 2 * COUNT
    scenarios = begun(sheet, usual if count is None else count, setups)
    trials = _all(scenarios, wishes, sheet.still, processes, progress)
    if not any(trial.reaches for trial in trials):
        check_possible(sheet, scenarios)
    ranked = rank_trials(trials, sheet.rank, sheet)
    plan = Plan(
        **vars(asked(sheet, scenarios)),
        rank=sheet.rank,
        charge=estimate(scenarios.feed.mass),
        pressure=scenarios.pressure_mean,
        pressure_u=scenarios.pressure_u,
        reading=estimate(scenarios.reading),
        receivers=sheet.still.receivers or USUAL_RECEIVERS,
        trials=ranked,
    )
    curves = _frontiers(plan, scenarios, sheet.still) if pictures else ()
    return replace(plan, flags=flags_of(plan, sheet, scenarios), frontiers=curves)


def _all(
    scenarios: Scenarios, wishes: Sequence[Wish], still: StillEntry, processes: int, progress: Progress | None
) -> list[Trial]:
    """Run all trials, those of similar stages together, and give them back in the order of the sheet."""
    order = sorted(range(len(wishes)), key=lambda k: wishes[k].setup.stages)
    size = max(TOGETHER // scenarios.count, 1)
    batches = [order[first : first + size] for first in range(0, len(order), size)]
    found: dict[int, Trial] = {}
    tasks = ([wishes[k] for k in batch] for batch in batches)
    for batch, trials in zip(batches, _each(scenarios, tasks, still, len(wishes), processes), strict=True):
        found.update(zip(batch, trials, strict=True))
        if progress is not None:
            progress(len(found), len(wishes))
    return [found[k] for k in range(len(wishes))]


def _each(
    scenarios: Scenarios, tasks: Iterator[list[Wish]], still: StillEntry, count: int, processes: int
) -> Iterator[list[Trial]]:
    workers = (os.cpu_count() or 1) if processes == 0 else processes
    if workers == 1 or count < WORTH_A_PROCESS:
        yield from (run_trials(scenarios, wishes, still) for wishes in tasks)
        return
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), initializer=_prepare, initargs=(scenarios, still)
    ) as pool:
        yield from pool.map(_run, tasks)


_shared: list[tuple[Scenarios, StillEntry]] = []


def _prepare(scenarios: Scenarios, still: StillEntry) -> None:
    """Keep in a worker what all its tasks need, so that it is sent once."""
    _shared[:] = [(scenarios, still)]


def _run(wishes: list[Wish]) -> list[Trial]:
    scenarios, still = _shared[0]
    return run_trials(scenarios, wishes, still)


def rank_trials(trials: Sequence[Trial], rank: Rank, sheet: StillSheet) -> tuple[Trial, ...]:
    """Trials in order: by kept mass, by kept mass per hour or by heat per kilogram kept; those that fail by their limit.

    Raises
    ------
    InputError
        for a rank by the hour where nothing says how fast a set-up boils.
    """
    if rank == "kept mass per hour" and any(t.reaches and (t.costs is None or t.costs.time is None) for t in trials):
        expected = 'how fast it boils: [still] with heater = "300 W" or boilup, or a throughput of every set-up'
        raise InputError(Fault(rank, expected, str(sheet.source), column="[plan] rank"))

    def key(trial: Trial) -> tuple[bool, float, float, float]:
        if not trial.reaches or trial.costs is None:
            return True, -(trial.limit or 0.0), trial.setup.stages, trial.reflux
        time = trial.costs.time.estimate if trial.costs.time else 0.0
        worth = {
            "kept mass": -trial.mean_kept,
            "kept mass per hour": -trial.mean_kept / time if time else 0.0,
            "heat": trial.costs.heat.estimate / max(trial.mean_kept, 1e-12),
        }[rank]
        return False, worth, time, trial.reflux

    return tuple(sorted(trials, key=key))


def _frontiers(plan: Plan, scenarios: Scenarios, still: StillEntry) -> tuple[tuple[str, Frontier], ...]:
    """Kept mass against assay of the best reflux of the first set-ups, and of the simplest one."""
    able = [trial for trial in plan.best_of_each if trial.cuts is not None]
    chosen = able[: SHOWN - 1]
    simplest = min(able, key=lambda trial: trial.setup.stages, default=None)
    if simplest is not None and simplest not in chosen:
        chosen.append(simplest)
    asked_for = plan.confidence + chance_margin(plan.confidence, scenarios.count)
    curves = []
    for trial in chosen:  # set-ups, six at most
        made = distilled(scenarios, [Wish(trial.setup, trial.reflux)], still)[0]
        stop = stop_mass(course(made, rates(scenarios, trial.setup, still)), still)
        curve = collected(made, reading_error=scenarios.at_the_change, stop=stop)
        curves.append((trial.setup.name, frontier(curve, scenarios.component, asked_for)))
    return tuple(curves)
